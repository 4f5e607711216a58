"""What is to be done of a session: nothing, since it is known whole, or a task for a worker.

Nothing is read but the names of files, what changes when they do, and what stands beside them: of a
lot that was measured before, a hundred thousand recordings take seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from analyzer.errors import UnusableInputError
from analyzer.lot.records import FileState, MeasuredFile, Session, Task
from analyzer.lot.running.work import Inputs, Settings, session_inputs
from analyzer.lot.sessions.fetching import tokens
from analyzer.lot.store import Store


def plan(store: Store, session: Session, settings: Settings, *, read_again: bool) -> int | Task:
    """The analysis that a session has already, or the task of making it.

    ``read_again``: the content of every file decides, and not whether it looks unchanged.
    """
    try:
        inputs = session_inputs(session, settings)
        states = _unchanged(session, store.known_states(session))
    except UnusableInputError:
        return Task(session)  # the worker will find the same, and says so
    if read_again:
        return Task(session, _known(store, inputs, _unsure(states)))
    if len(states) == len(session.files):
        digest = inputs.digest_of([inputs.key_of(state) for state in states.values()])
        analysis = store.analysis_of(session, digest)
        if analysis is not None:
            return analysis
    return Task(session, _known(store, inputs, {**_elsewhere(store, session), **states}))


def _unchanged(session: Session, known: Mapping[str, FileState]) -> dict[str, FileState]:
    """The states of files that look as they did when they were read."""
    now = tokens(session)
    return {
        file: state for file, state in known.items() if state.token and state.token == now.get(file)
    }


def _elsewhere(store: Store, session: Session) -> dict[str, FileState]:
    """What the same instrument's files were like where they lay before: a lot may be moved."""
    found: dict[str, FileState] = {}
    for place in reversed(store.places_of(session.serial)):  # the latest goes before the others
        if place != session.place:
            found |= _unsure(store.known_states(replace(session, place=place)))
    return found


def _unsure(states: Mapping[str, FileState]) -> dict[str, FileState]:
    """The same where only the content can tell whether it is still that file."""
    return {file: replace(state, token="") for file, state in states.items()}


def _known(
    store: Store, inputs: Inputs, states: Mapping[str, FileState]
) -> dict[str, MeasuredFile]:
    """What was measured in files of these states."""
    keys = {file: inputs.key_of(state) for file, state in states.items()}
    measured = store.known_recordings(keys.values())
    return {
        file: MeasuredFile(states[file], key, measured[key])
        for file, key in keys.items()
        if key in measured
    }
