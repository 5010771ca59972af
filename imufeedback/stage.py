"""What every pure stage of the pipeline looks like.

A stage is fed one record at a time and answers with what it can say so far; `finish` gives what it held back. It does
no I/O and reads no clock. Its whole memory is one object, `state`, that can be read, stored and put back, so that

    first half + restored state + second half == whole

holds for every stage and for the pipeline (`tests/contract/test_stages.py`).
"""

from __future__ import annotations

import copy
from typing import Any, Generic, TypeAlias, TypeVar

Memory: TypeAlias = Any
"""A stage's memory as it is stored: opaque, can be pickled."""

In = TypeVar("In", contravariant=True)
Out = TypeVar("Out", covariant=True)


class Stage(Generic[In, Out]):
    """Base of the stages. Subclasses keep everything that changes in ``self._state``, and nothing anywhere else."""

    _state: Any

    def feed(self, item: In) -> list[Out]:
        """Take one record; return what follows from it, in order."""
        raise NotImplementedError  # pragma: no cover - abstract

    def finish(self) -> list[Out]:
        """No more records will come: return what was held back."""
        return []

    @property
    def state(self) -> Memory:
        """A copy of it."""
        return copy.deepcopy(self._state)

    @state.setter
    def state(self, value: Memory) -> None:
        self._state = copy.deepcopy(value)
