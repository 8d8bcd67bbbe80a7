"""Work that takes longer than a page: it runs beside, says how far it is, and can be stopped."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from truekev.errors import InputError, RefusedError, TruekevError

__all__ = ["Report", "Work", "WorkList"]

_log = logging.getLogger(__name__)
_KEPT = 50
_AT_ONCE = 8
Report = Callable[[float, str], None]


class _StoppedError(Exception):
    """A person stopped it."""


@dataclass
class Work:
    """One piece of work.

    `state` is "running", "done", "stopped" or "failed"; `address` is where the result stands, `problem` why there is
    none, `refused` whether the program declined to answer; `back` where to go then, address and words.
    """

    number: int
    title: str
    state: str = "running"
    share: float = 0.0
    what: str = "starting"
    address: str = ""
    problem: str = ""
    refused: bool = False
    back: tuple[str, str] = ("/", "Back to the first page")
    stop: threading.Event = field(default_factory=threading.Event)

    def report(self, share: float, what: str) -> None:
        """Called by the work as it goes on; ends it where a person asked for that."""
        if self.stop.is_set():
            raise _StoppedError
        self.share, self.what = min(max(share, 0.0), 1.0), what


class WorkList:
    """The work of one server; one piece runs at a time, the others wait."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._turn = threading.Lock()
        self._all: dict[int, Work] = {}
        self._last = 0

    def start(self, title: str, run: Callable[[Report], str], *, back: tuple[str, str] | None = None) -> Work:
        """Start work that returns the address of its result.

        Raises
        ------
        RefusedError
            Too much is waiting already.
        """
        with self._lock:
            if sum(work.state == "running" for work in self._all.values()) >= _AT_ONCE:
                raise RefusedError("Eight pieces of work are waiting already.", "wait for one to end, or stop one.")
            self._last += 1
            work = Work(self._last, title, what="waiting for its turn", back=back or Work.back)
            self._all[work.number] = work
            for old in sorted(self._all)[:-_KEPT]:
                if self._all[old].state != "running":
                    del self._all[old]
        threading.Thread(target=self._run, args=(work, run), name=f"work-{work.number}", daemon=True).start()
        return work

    def get(self, number: int) -> Work:
        """The work of that number.

        Raises
        ------
        InputError
            There is none (any more).
        """
        with self._lock:
            found = self._all.get(number)
        if found is None:
            raise InputError(f"work {number}: there is none, or it is forgotten; its result is among the records.")
        return found

    def running(self) -> tuple[Work, ...]:
        """All that runs or waits."""
        with self._lock:
            return tuple(work for work in self._all.values() if work.state == "running")

    def stop_all(self) -> None:
        """Ask everything to stop at its next step."""
        for work in self.running():
            work.stop.set()

    def _run(self, work: Work, run: Callable[[Report], str]) -> None:
        try:
            with self._turn:
                work.report(0.0, "starting")
                work.address = run(work.report)
            work.share, work.what, work.state = 1.0, "done", "done"
        except _StoppedError:
            work.what, work.state = "stopped; nothing was kept", "stopped"
        except TruekevError as error:
            work.problem, work.refused, work.state = str(error), isinstance(error, RefusedError), "failed"
        except Exception:
            _log.exception("work %s (%s) broke off", work.number, work.title)
            work.problem, work.state = "It broke off through a fault of the program; the terminal says more.", "failed"
