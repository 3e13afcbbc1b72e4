"""Write `reference_curves/populations.tsv` again: the population of every packaged type, computed.

    python -m benchmarks.population_store [--write]

To be run after any change of a type's file, of `spreads.toml` or of the computation itself (then raise `VERSION` in
partscreen/reference/population_store.py too). Without --write it says whether the file is up to date.
"""

from __future__ import annotations

import sys

from partscreen.reference.library import Library, packaged_directory
from partscreen.reference.population import population_for
from partscreen.reference.population_spreads import SPREADS_FILE, load_spreads
from partscreen.reference.population_store import STORE_FILE
from partscreen.reference.population_write import store_text


def computed_text() -> str:
    """What the file should hold."""
    library, spreads = Library.load(), load_spreads()
    # Naming the spreads keeps `population_for` from answering out of the very file to be written.
    found = [(of, library.files[of.name.upper()].read_bytes(), population_for(of, spreads=spreads)) for of in library]
    return store_text(found, (packaged_directory() / SPREADS_FILE).read_bytes())


def main() -> int:
    """Write, or compare."""
    path, text = packaged_directory() / STORE_FILE, computed_text()
    if "--write" in sys.argv[1:]:
        path.write_text(text, encoding="utf-8", newline="\n")
        print(f"written: {path}, {len(text) / 1e3:.0f} kB")
        return 0
    same = path.exists() and path.read_text(encoding="utf-8") == text
    print(
        f"{path.name} is up to date" if same else f"{path.name} differs from what is computed: run again with --write"
    )
    return 0 if same else 1


if __name__ == "__main__":
    raise SystemExit(main())
