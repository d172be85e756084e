"""Write a bench file so that a power cut leaves either the old one or the new one."""

from __future__ import annotations

from pathlib import Path

from triage.case.profile import Bench, bench_content, load_bench
from triage.case.store import replace_text
from triage.yamltext import dump_yaml


def write_bench(path: Path, bench: Bench) -> None:
    """Write a bench; a broken file on disk is reported and left as it is.

    Raises
    ------
    TriageError: the file there cannot be read as a bench, or the folder cannot be written to.
    """
    if path.exists():
        load_bench(path)
    replace_text(path, dump_yaml(bench_content(bench)))
