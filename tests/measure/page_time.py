"""How long the pages of one pose take, in a fresh process, on top of the scoring.

    python tests/measure/page_time.py [PAPER]

Prints seconds for each output of a pose of 24 views (``tests/data/outlines``), loading matplotlib included, and the
sizes of the files.
"""

from __future__ import annotations

import importlib.util
import sys
import tempfile
import time
from pathlib import Path

from silhouette.records import Ranking

CONFTEST = Path(__file__).parents[1] / "show" / "conftest.py"


def main(paper: str) -> None:
    spec = importlib.util.spec_from_file_location("show_conftest", CONFTEST)
    assert spec and spec.loader
    records = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(records)
    ranking = Ranking((records.build_pose("reach_up", 24),))

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        begun, spent = time.perf_counter(), time.process_time()
        last = begun
        from silhouette.show import critique, polar, report, sheet, table

        steps = {
            "chart.png, chart.pdf": lambda: polar.write_chart(ranking, out),
            "sheet.png": lambda: sheet.write_sheet(ranking, out),
            "critique.pdf": lambda: critique.write_critique(ranking, out / "critique.pdf", paper),  # type: ignore[arg-type]
            "report.html": lambda: report.write_report(ranking, out / "report.html"),
            "table": lambda: table.score_table(ranking.poses[0]),
        }
        for name, step in steps.items():
            step()
            now = time.perf_counter()
            print(f"{name:<22} {now - last:6.2f} s")
            last = now
        # On a busy machine the clock tells of the others; the processor's own seconds tell of this program.
        print(f"{'all':<22} {last - begun:6.2f} s, {time.process_time() - spent:.2f} s of one processor")
        for file in sorted(out.iterdir()):
            print(f"{file.name:<22} {file.stat().st_size / 1000:6.0f} kB")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "a4")
