"""Runs the attacks, two at a time, and writes tests/attack/table.md: python tests/attack/table.py [--long]."""

from __future__ import annotations

import sys
from pathlib import Path


def main(*, long: bool) -> int:
    """Run every attack, say how each went, and write the table; 1 where anything was unhandled."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    sys.path.insert(0, str(Path(__file__).parent))
    import attacks

    ledgers = []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        running = [pool.submit(attacks.run, number, long) for number in range(len(list(attacks.every(long=long))))]
        for one in running:
            ledgers += (found := one.result())
            print(
                f"{found[0].attack}: {sum(ledger.tries for ledger in found)} tries, "
                f"{sum(len(ledger.unhandled) for ledger in found)} unhandled",
                flush=True,
            )
            Path(__file__).with_name("table.md").write_text(attacks.table(ledgers, long=long), encoding="utf-8")
    return int(any(ledger.unhandled for ledger in ledgers))


if __name__ == "__main__":
    raise SystemExit(main(long="--long" in sys.argv[1:]))
