"""A large run: judged bundle by bundle, written lot by lot, taken up again after it was killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from benchmarks.volume_bag import TYPE, write_delivery
from partscreen.screening.lot.left_out import leave_out_too_large
from partscreen.workflow import ScreenOptions, judge_prepared, prepare_files, stream_screening
from partscreen.workflow.volume import bundles as volume_plan
from partscreen.workflow.volume import kept as volume_kept

N_PARTS, LOT_SIZE = 48, 12
ROOT = Path(__file__).resolve().parents[2]
OPTIONS = ScreenOptions(type_name=TYPE)


@pytest.fixture(scope="module")
def delivery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("delivery") / "delivery.csv"
    write_delivery(path, N_PARTS, LOT_SIZE)
    return path


@pytest.fixture
def small_bundles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(volume_plan, "TOGETHER", LOT_SIZE)


def streamed(delivery: Path, out: Path, *, brief: bool = True):
    told = stream_screening(prepare_files([delivery], OPTIONS), out, brief=brief, large=0, processes=1)
    assert told is not None
    return told


def parts_of(path: Path) -> dict[tuple[str, str], dict]:
    return {(lot["lot"], part["part"]): part for lot in json.loads(path.read_text())["lots"] for part in lot["parts"]}


def test_a_run_in_one_bundle_is_to_the_byte_what_the_run_in_memory_writes(delivery, tmp_path):
    out = tmp_path / "out.json"
    told = streamed(delivery, out, brief=False)
    whole = judge_prepared(prepare_files([delivery], OPTIONS), figures=False)
    assert out.read_text() == whole.json_text()
    assert told.exit_code == whole.exit_code
    assert [lot.lot for lot in told.lots] == [lot.lot for lot in whole.screening.lots]
    assert sum(lot.n_parts for lot in told.lots) == N_PARTS
    assert not list(tmp_path.glob("*.unfinished"))


def test_brief_leaves_out_covariances_and_curves_and_nothing_else(delivery, tmp_path):
    streamed(delivery, tmp_path / "full.json", brief=False)
    streamed(delivery, tmp_path / "brief.json", brief=True)
    full, brief = (json.loads((tmp_path / f"{name}.json").read_text()) for name in ("full", "brief"))
    left_out = 0
    for lot in full["lots"]:
        for part in lot["parts"]:
            left_out += part.pop("curves") is not None
            left_out += part["fit"].pop("covariance") is not None
    assert left_out == 2 * N_PARTS
    assert full == brief


def test_bundles_change_no_evidence_and_no_disposition(delivery, tmp_path, small_bundles):
    streamed(delivery, tmp_path / "out.json")
    whole = judge_prepared(prepare_files([delivery], OPTIONS), figures=False).screening
    found = parts_of(tmp_path / "out.json")
    assert len(found) == N_PARTS
    for lot in whole.lots:
        for part in lot.parts:
            other = found[lot.lot, part.part]
            assert other["disposition"] == part.disposition
            assert other["evidence"] == pytest.approx(part.evidence, abs=1e-6)
            # Errors of sessions are found to a twentieth of their uncertainty, with whatever else is in the run.
            away = np.abs(np.subtract(other["fit"]["theta"], part.fit.theta))
            assert (away < 0.1 * np.sqrt(np.diag(part.fit.covariance))).all()


def test_rows_of_lots_scattered_over_the_file_give_the_same_judgement(delivery, tmp_path, small_bundles):
    head, *rows = delivery.read_text().splitlines()
    order = np.random.default_rng(8).permutation(len(rows))
    scattered = tmp_path / "scattered.csv"
    scattered.write_text("\n".join([head, *(rows[i] for i in order)]) + "\n")
    streamed(delivery, tmp_path / "sorted.json")
    streamed(scattered, tmp_path / "scattered.json")
    one, two = parts_of(tmp_path / "sorted.json"), parts_of(tmp_path / "scattered.json")
    assert one.keys() == two.keys()
    for key, part in one.items():
        assert two[key]["disposition"] == part["disposition"]
        assert two[key]["evidence"] == pytest.approx(part["evidence"], abs=0.02)


KILLED = """
import os, signal, sys
from pathlib import Path
from partscreen.workflow import ScreenOptions, prepare_files, stream_screening
from partscreen.workflow.volume import bundles as volume_plan

def stop(what, done, total):
    if what == "judging lots" and done >= 2:
        os.kill(os.getpid(), signal.SIGKILL)

volume_plan.TOGETHER = int(sys.argv[3])
ready = prepare_files([Path(sys.argv[1])], ScreenOptions(type_name=sys.argv[4]))
stream_screening(ready, Path(sys.argv[2]), brief=True, large=0, processes=1, progress=stop)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL there")
def test_a_run_that_was_killed_goes_on_where_it_stopped_and_ends_with_the_same_bytes(delivery, tmp_path, small_bundles):
    out = tmp_path / "killed.json"
    begun = subprocess.run(
        [sys.executable, "-c", KILLED, str(delivery), str(out), str(LOT_SIZE), TYPE], cwd=ROOT, check=False
    )
    assert begun.returncode == -signal.SIGKILL
    assert not out.exists()
    told = streamed(delivery, out)
    assert sum(lot.taken_up for lot in told.lots) == 2
    assert any("taken up" in note for note in told.notices)
    streamed(delivery, tmp_path / "through.json")
    assert out.read_bytes() == (tmp_path / "through.json").read_bytes()
    assert not list(tmp_path.glob("*.unfinished"))


def stopped(delivery: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder that a run leaves whose disk was full at the end."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", str(out))

    with monkeypatch.context() as patch:
        patch.setattr(volume_kept.Kept, "assemble", full)
        with pytest.raises(ValueError, match="No space left"):
            streamed(delivery, out)
    (folder,) = out.with_name(out.name + ".unfinished").iterdir()
    return folder


def test_lots_of_another_version_setting_or_content_are_never_used(delivery, tmp_path, monkeypatch):
    out = tmp_path / "out.json"
    stopped(delivery, out, monkeypatch)
    told = stream_screening(prepare_files([delivery], OPTIONS), out, brief=False, large=0, processes=1)
    assert told is not None
    assert not any(lot.taken_up for lot in told.lots)
    assert any("another run" in note for note in told.notices)
    ready = prepare_files([delivery], OPTIONS)
    key = volume_kept.run_key(ready, brief=True)
    assert volume_kept.run_key(prepare_files([delivery], ScreenOptions(type_name=TYPE, risk=0.03)), brief=True) != key
    monkeypatch.setattr(volume_kept, "program_digest", lambda: "another version")
    assert volume_kept.run_key(ready, brief=True) != key


def test_a_kept_bundle_that_is_spoilt_is_judged_again(delivery, tmp_path, monkeypatch):
    out = tmp_path / "out.json"
    (kept,) = stopped(delivery, out, monkeypatch).glob("bundle_*")
    data = bytearray(kept.read_bytes())
    data[-100] ^= 1
    kept.write_bytes(bytes(data))
    told = streamed(delivery, out)
    assert not any(lot.taken_up for lot in told.lots)
    assert len(parts_of(out)) == N_PARTS


def test_a_lot_beyond_memory_is_told_and_the_others_are_judged(delivery, tmp_path):
    batch = prepare_files([delivery], OPTIONS).batch
    assert leave_out_too_large(batch) is batch
    none_left = leave_out_too_large(batch, LOT_SIZE - 1)
    assert none_left.n_parts == 0
    assert len(none_left.not_judged) == N_PARTS
    first = none_left.problems[0]
    assert first.code == "LOT_TOO_LARGE"
    assert "split it" in first.fix


MEASURED = """
import resource, sys
from pathlib import Path
from partscreen.workflow import ScreenOptions, prepare_files, stream_screening

ready = prepare_files([Path(sys.argv[1])], ScreenOptions(type_name=sys.argv[3]))
stream_screening(ready, Path(sys.argv[2]), brief=True, large=0, processes=1)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.long
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the unit of ru_maxrss differs")
def test_memory_grows_by_the_readings_and_not_by_the_results(tmp_path):
    """In memory a part's result takes some 100 kB; a streamed run holds no more than the readings of all parts."""
    peak = {}
    for n_parts in (2_000, 8_000):
        path = tmp_path / f"{n_parts}.csv"
        write_delivery(path, n_parts, 400)
        run = [sys.executable, "-c", MEASURED, str(path), str(tmp_path / "out.json"), TYPE]
        peak[n_parts] = int(subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True).stdout)
    assert (peak[8_000] - peak[2_000]) / 6_000 < 40  # kB a part
