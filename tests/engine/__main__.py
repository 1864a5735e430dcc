"""The sweep over the whole catalogue, in its long form: ``python -m tests.engine [EVERY]``.

Every cutter x material x machine x operation (or each EVERY-th of them) is asked; the mean time of a recommendation in
processor time, what was refused and what was misused are counted. Exit status 1 when a limit is exceeded, an answer is
timid, Python warns, or the mean is 2 ms or more.
"""

from __future__ import annotations

import sys
import time
import warnings
from collections import Counter

from advisor import catalogue
from advisor.advice import OPERATIONS, BadRequest, Refusal, Request
from advisor.recommend import recommend


def main(every: int = 1) -> int:
    """Sweep, print, and say whether all went as it must."""
    warnings.simplefilter("error")
    machines = [catalogue.machine(name) for name in catalogue.names("machines")]
    materials = [catalogue.material(name) for name in catalogue.names("materials")]
    count = answered = misused = 0
    spent = 0.0
    refused: Counter[str] = Counter()
    wrong: list[str] = []
    for name in catalogue.names("cutters"):
        cutter = catalogue.cutter(name)
        for material in materials:
            for machine in machines:
                for operation in OPERATIONS:
                    count += 1
                    if (count * 7919) % every:
                        continue
                    depth = None if count % 3 else min(1.5 * cutter.diameter, cutter.flute_length or cutter.diameter)
                    begun = time.process_time()
                    try:
                        answer = recommend(Request(cutter, material, machine, operation, depth))
                    except BadRequest:
                        misused += 1
                        continue
                    spent += time.process_time() - begun
                    answered += 1
                    if isinstance(answer, Refusal):
                        refused[answer.limited_by[0]] += 1
                        continue
                    over = [u.name for u in answer.limits if u.exceeded and u.name != "cutting-speed"]
                    timid = max(u.use for u in answer.limits if not u.least) < 0.9
                    if over or timid:
                        wrong.append(f"{name} {material.name} {machine.name} {operation} {depth}: {over or 'timid'}")
    mean = 1000.0 * spent / max(answered, 1)
    print(f"{answered} questions, {mean:.2f} ms each; {sum(refused.values())} refused, {misused} the cutter can't do")
    print("refused for:", ", ".join(f"{what} {n}" for what, n in refused.most_common()))
    for line in wrong[:20]:
        print("wrong:", line)
    return 1 if wrong or mean >= 2.0 else 0


if __name__ == "__main__":
    raise SystemExit(main(*(int(text) for text in sys.argv[1:2])))
