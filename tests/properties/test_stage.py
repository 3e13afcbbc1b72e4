"""Whatever a stage file holds: every check is made, nothing crashes, and more stress never looks safer."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from partscreen.quantities import ZERO_CELSIUS
from partscreen.stage.judge import judge_stage
from partscreen.stage.load_line import load_line
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import permitted
from partscreen.stage.stress import use_of
from partscreen.stage.texts import read_figure
from tests.stage.stages import library

TYPES = (
    ("2SC5200", "2SA1943"),
    ("MJL21194", "MJL21193"),
    ("2N3055", "MJ2955"),
    ("BDV65B", "BDV64B"),
    ("TTC5200", "TTA1943"),
)
QUIET = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


def figure(low: float, high: float, unit: str) -> st.SearchStrategy[str | None]:
    """A figure spread over its decades, or none."""
    logs = st.floats(math.log(low), math.log(high))
    return st.none() | logs.map(lambda x: f"{math.exp(x):.4g} {unit}")


@st.composite
def stages(draw):
    npn, pnp = draw(st.sampled_from(TYPES))
    loaded = draw(st.none() | st.floats(3, 150))
    sag = draw(st.floats(1.0, 1.5))
    load = draw(st.none() | st.floats(0.5, 100))
    tables = {
        "rails": {
            "loaded": loaded and f"{loaded:.4g} V",
            "unloaded": f"{loaded * sag * 1.001:.4g} V" if loaded and draw(st.booleans()) else None,
        },
        "load": {
            "resistance": load and f"{load:.4g} ohm",
            "minimum_impedance": f"{load * 0.6:.4g} ohm" if load and draw(st.booleans()) else None,
            "phase": draw(figure(1, 89, "deg")),
            "rated_power": draw(figure(1, 1000, "W")),
            "lowest_frequency": draw(figure(1, 1000, "Hz")),
        },
        "programme": {"crest_factor": draw(st.none() | st.floats(1.0, 20.0))},
        "emitter_resistors": {"marked": draw(figure(1e-3, 100, "ohm")), "power": draw(figure(0.1, 20, "W"))},
        "cooling": {
            "insulator": draw(figure(0.05, 5, "K/W")),
            "heat_sink": draw(figure(0.05, 20, "K/W")),
            "devices_on_heat_sink": draw(st.none() | st.integers(1, 12)),
            "ambient": draw(figure(5, 60, "degC")),
        },
        "drive": {"base_current": draw(figure(1e-3, 5, "A")), "voltage_loss": draw(figure(0.1, 10, "V"))},
        "bias": {"target": draw(figure(1e-4, 3, "V")), "readings": {"R1": "4 mV"}},
    }
    data = {name: {k: v for k, v in keys.items() if v is not None} for name, keys in tables.items()}
    data["stage"] = {"npn": npn, "pnp": pnp, "devices_per_rail": draw(st.integers(1, 8))}
    return Stage.model_validate(data)


@QUIET
@given(stages())
def test_every_stage_gets_every_check_and_no_figure_is_nonsense(stage):
    result = judge_stage(stage, library())
    assert {"VOLTAGE", "PEAK_CURRENT", "BASE_DRIVE", "CLIPPING_POWER", "CROSSOVER"} <= {c.code for c in result.checks}
    assert result.model_dump_json(by_alias=True)
    for check in result.checks:
        for value in (check.value, check.limit, check.margin):
            assert value is None or math.isfinite(value)
        assert "nan" not in check.sentence.lower()
        if (
            check.result in ("ok", "marginal")
            and check.margin is not None
            and check.code not in ("CROSSOVER", "PEAK_CURRENT")
        ):
            assert check.margin >= -1e-9 or check.code == "SAFE_AREA_DC"


CASES = st.floats(ZERO_CELSIUS, ZERO_CELSIUS + 220)
AREAS = st.sampled_from([(k.name, p) for k in library() for p in {line.pulse for line in k.soa}])


@QUIET
@given(AREAS, CASES, CASES, st.floats(0.5, 300))
def test_a_hotter_case_never_permits_more(area, one, other, volts):
    name, pulse = area
    cool, hot = (float(permitted(library().type(name), pulse, [volts], t).current[0]) for t in sorted((one, other)))
    assert math.isnan(cool) == math.isnan(hot)
    assert math.isnan(hot) or 0.0 <= hot <= cool * (1 + 1e-12)


@QUIET
@given(AREAS, CASES)
def test_a_higher_voltage_never_permits_more(area, case):
    name, pulse = area
    current = permitted(library().type(name), pulse, np.geomspace(0.5, 300, 200), case).current
    known = current[~np.isnan(current)]
    assert np.all(np.diff(known) <= known[:-1] * 0.05 + 1e-12)  # lines are read to a few percent


@QUIET
@given(AREAS, CASES, st.floats(5, 80), st.floats(1, 16), st.floats(0, 80), st.floats(1.01, 1.5))
def test_higher_rails_never_use_less_of_a_safe_area(area, case, rail, load, degrees, more):
    name, pulse = area
    kind = library().type(name)
    low, high = (use_of(load_line(v, load, math.radians(degrees), 2), kind, pulse, case) for v in (rail, rail * more))
    if not (low.off_the_line or high.off_the_line):
        assert high.use >= low.use * 0.98
    assert low.off_the_line <= high.off_the_line


@QUIET
@given(st.text(max_size=12), st.sampled_from(["V", "A", "ohm", "W", "K", "K/W", "rad", "Hz", "1"]))
def test_any_text_is_a_figure_or_a_value_error(text, unit):
    try:
        value = read_figure(text, unit)
    except ValueError:
        return
    assert math.isfinite(value)
