"""Runs the benches of recompute, due list, reports and claim on the same databases of three sizes, for docs/speed.md.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_scale [COVERS …]``. It fails where the due list or
the reports miss their bar.
"""

import resource
import sys

from tests.bench import bench_claim, bench_due_list, bench_recompute, bench_reports
from tests.bench.made_records import find_commit, make_database


def main() -> None:
    sizes = [int(text.replace("_", "")) for text in sys.argv[1:]] or bench_recompute.SIZES
    met = True
    print(f"commit {find_commit()}")
    for covers in sizes:
        bench = make_database(covers, "bench_scale")
        print(bench_recompute.HEADINGS)
        bench_recompute.run(bench, covers)
        met = bench_due_list.run_apart(bench, covers) and met
        met = bench_reports.run_apart(bench, covers) and met
        bench_claim.run_apart(bench, covers)
        bench.drop()
    sys.exit(not met)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    main()
