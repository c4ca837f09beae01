"""Runs the benches of recompute, due list and claim on the same databases of three sizes, for docs/speed.md.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_scale [COVERS …]``.
"""

import resource
import sys

from tests.bench import bench_claim, bench_due_list, bench_recompute
from tests.bench.made_records import make_database


def main() -> None:
    sizes = [int(text.replace("_", "")) for text in sys.argv[1:]] or bench_recompute.SIZES
    for covers in sizes:
        bench = make_database(covers, "bench_scale")
        print(bench_recompute.HEADINGS)
        bench_recompute.run(bench, covers)
        bench_due_list.run_apart(bench, covers)
        bench_claim.run_apart(bench, covers)
        bench.drop()


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    main()
