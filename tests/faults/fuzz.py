"""Read thousands of spoiled files: none may end in a traceback, a crash, a hang, or 500 MB.

    python tests/faults/fuzz.py                     # 10,000 files; some minutes on two cores
    python tests/faults/fuzz.py --files 500 --seed 7

Each file follows from the seed and its number, so that a fault can be had again:

    python tests/faults/fuzz.py --only 1234

The files are read in other processes. One that does not answer within a minute has hung; one that
ends by itself has crashed, as a decoder of the trusted kind would end the command. Exit code 1 and
a line for each fault; 0 where there is none.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(_TESTS / each) for each in ("../sample_audio", "support", "published")]
HANG_S = 60.0  # for one file; a choice, far above what any takes on a busy machine
MOST_MB = 500.0
ENOUGH = 20  # faults, after which there is something to mend first
# Parts of a thousand. A container starts a process, so there are fewer of them.
SHARES = {"sound": 420, "container": 60, "whole": 20, "label": 150, "takes": 100,
          "instrument": 100, "strings": 50, "turned": 60, "lot": 40}  # fmt: skip


@dataclass(frozen=True)
class Done:
    number: int
    kind: str
    seconds: float
    process_mb: float
    children_mb: float
    fault: str


def case(seed: int, number: int) -> tuple[str, str, bytes]:
    """Kind, name and content of a spoiled file."""
    from mutations import originals, random_change, spoiled

    rng = np.random.default_rng([seed, number])
    kind = str(rng.choice(list(SHARES), p=np.array(list(SHARES.values())) / 1000))
    files = originals(kind)
    name, content = files[int(rng.integers(len(files)))]
    changes = [random_change(rng) for _ in range(int(rng.integers(1, 6)))]
    return kind, name, spoiled(content, changes)


def serve(seed: int) -> None:
    """Read numbers from standard input, and answer each with a line."""
    from mutations import judge

    with tempfile.TemporaryDirectory() as scratch:
        for line in sys.stdin:
            kind, name, content = case(seed, int(line))
            began_s = time.monotonic()
            try:
                fault = judge(kind, name, content, Path(scratch)) or ""
            except Exception as error:  # noqa: BLE001 - the very thing that is looked for
                fault = f"{type(error).__name__}: {error}"
            took_s = time.monotonic() - began_s
            # Of its decoders, with what this process held when it started them.
            children_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
            print(f"{kind} {took_s:.3f} {own_mb():.0f} {children_mb:.0f} {fault!r}", flush=True)


def own_mb() -> float:
    """The most memory that this process held. ``getrusage`` would count what its parent held."""
    with suppress(OSError):
        status = Path("/proc/self/status").read_text(encoding="ascii")
        return int(status.partition("VmHWM:")[2].split()[0]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


class Reader:
    """One process that reads files, and is started again when it crashes or hangs."""

    def __init__(self, seed: int) -> None:
        self._command = [sys.executable, __file__, "--serve", "--seed", str(seed)]
        self._process: subprocess.Popen[str] | None = None
        # What decoders and dying interpreters say.
        self._notes = tempfile.TemporaryFile("w+")  # noqa: SIM115 - closed by ``close``

    def read(self, number: int) -> Done:
        if self._process is None:
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._notes,
                text=True,
            )
        hung = threading.Event()
        clock = threading.Timer(HANG_S * (3 if number < 2 else 1), self._kill, [hung])
        clock.start()
        self._process.stdin.write(f"{number}\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        clock.cancel()
        if not line:
            code = self._end()
            self._notes.seek(0)
            last = "".join(self._notes.read().splitlines()[-1:])
            fault = "hangs" if hung.is_set() else f"ends the process (code {code}): {last}"
            fault = fault.removesuffix(": ")
            return Done(number, "?", HANG_S, 0, 0, fault)
        kind, seconds, own_mb, children_mb, fault = line.rstrip("\n").split(" ", 4)
        return Done(number, kind, float(seconds), float(own_mb), float(children_mb), fault[1:-1])

    def _kill(self, hung: threading.Event) -> None:
        hung.set()
        self._process.kill()

    def _end(self) -> int:
        """Let the process end, and say with which code."""
        process, self._process = self._process, None
        with suppress(BrokenPipeError):
            process.stdin.close()
        process.stdout.close()
        return process.wait()

    def close(self) -> None:
        if self._process is not None:
            self._end()
        self._notes.close()


def run(files: int, seed: int, readers: int) -> list[Done]:
    """Read files 0 to ``files``, shared among so many processes."""
    done: list[Done] = []

    def work(first: int) -> None:
        reader = Reader(seed)
        for number in range(first, files, readers):
            done.append(reader.read(number))
            if sum(bool(each.fault) for each in done) >= ENOUGH:
                break
        reader.close()

    threads = [threading.Thread(target=work, args=[first]) for first in range(readers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return done


def faults_of(done: list[Done]) -> list[str]:
    found = [f"file {each.number} ({each.kind}): {each.fault}"[:400] for each in done if each.fault]
    for each in done:
        if max(each.process_mb, each.children_mb) > MOST_MB:
            found.append(f"file {each.number} ({each.kind}): {each.process_mb:.0f} MB")
            break  # the largest so far is all that the system tells: later ones show it again
    return found


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--files", type=int, default=10_000)
    words.add_argument("--seed", type=int, default=5)
    words.add_argument("--readers", type=int, default=2)
    words.add_argument("--only", type=int)
    words.add_argument("--serve", action="store_true")
    given = words.parse_args()
    if given.serve:
        serve(given.seed)
        return
    if given.only is not None:
        kind, name, content = case(given.seed, given.only)
        Path(name).write_bytes(content) if kind != "label" else print(repr(content))
        print(f"{kind}: {name}")
        return
    began_s = time.monotonic()
    done = run(given.files, given.seed, given.readers)
    counts = Counter(each.kind for each in done)
    print(f"{len(done)} files in {time.monotonic() - began_s:.0f} s: {dict(counts)}")
    print(f"slowest {max(each.seconds for each in done):.1f} s; largest process "
          f"{max(each.process_mb for each in done):.0f} MB, largest decoder "
          f"{max(each.children_mb for each in done):.0f} MB")  # fmt: skip
    faults = faults_of(done)
    print("\n".join(faults) or "no fault")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
