"""An error is one line: where, what, what to try."""

from __future__ import annotations

import inspect
import pickle

import pytest

from imufeedback import errors
from imufeedback.errors import BadFile, BadToml, ImuFeedbackError, NoRecording, UsageError

ALL = [one for _, one in inspect.getmembers(errors, inspect.isclass) if issubclass(one, Exception)]


@pytest.mark.parametrize("kind", ALL, ids=lambda one: one.__name__)
def test_every_error_is_one_of_ours_and_one_line(kind):
    error = kind("it is torn", where="a.mcap", hint="record again")
    assert isinstance(error, ImuFeedbackError)
    assert str(error) == "a.mcap: it is torn – record again"
    assert (error.what, error.where, error.hint) == ("it is torn", "a.mcap", "record again")


def test_what_is_not_known_is_left_out():
    assert str(UsageError("no")) == "no"
    assert str(UsageError("no", where="begin")) == "begin: no"
    assert str(UsageError("no", hint="yes")) == "no – yes"


def test_the_tree():
    assert issubclass(NoRecording, BadFile)
    assert issubclass(BadToml, BadFile)
    assert not issubclass(UsageError, BadFile)


def test_the_tree_is_drawn_in_the_docstring():
    for kind in ALL:
        assert kind.__name__ in errors.__doc__


def test_an_error_can_cross_a_process():
    again = pickle.loads(pickle.dumps(BadToml("it is torn", where="a.toml", hint="mend it")))
    assert type(again) is BadToml
    assert str(again) == "a.toml: it is torn – mend it"
