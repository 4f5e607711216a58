"""How strongly an instrument really answers its adjusters, learned from what they did.

The geometry says what a turn should do; a worn thread, another pitch than was read, a string that
does not follow its saddle or a scale length that is not quite right make it more or less. The
response of adjuster j against the geometry is

    rho_j = 1 + s + a_j                                                                      (1)

with s common to the instrument and a_j its own. Before anything is seen both are 0, give or take
SHARED_SPREAD and OWN_SPREAD. A round of adjustment shows each string's change of error,

    y_i = f_i(sum_j A_ij rho_j x_j) + noise                                                  (2)

x_j the moves, A the shares, f_i the effects; Bayes' rule for normal errors, with (2) taken as
straight about the best guess (iterated Kalman update), gives the new s and a_j with their
covariance. The noise is that of both errors, and of the moves: a turn is read to half a step.
The error found after one round is also the start of the next; that the noise of two rounds in
succession is therefore not quite independent is left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.bridge.effect import Array, SaddleEffect
from analyzer.instrument.model import Adjuster

# Standard deviations of the prior, as shares of the geometry's response. Choices: a thread that
# is taken for its neighbour, 0.45 mm for 0.5, is 10 % off; the rest is mostly below 2 %.
SHARED_SPREAD = 0.10
OWN_SPREAD = 0.05
# |E_n| beyond which a change is not learned from: four standard deviations are no chance.
FURTHEST_LEARNED = 2.0
LEAST_SHARE_LEARNED = 0.5  # where fewer of the strings agree, something else happened
_COVERAGE = 1.96  # turns a 95 % half-width into a standard deviation and back
_ROUNDS = 4
WRONG_WAY = "the wrong way; check screw_head and the way it was turned"
UNTOLD = "cannot be told from no change"


@dataclass(frozen=True)
class Response:
    """What is known of the response. ``state`` is (s, a_1, ..., a_m) with its ``covariance``."""

    adjusters: tuple[str, ...]
    state: Array
    covariance: Array
    rounds: int = 0

    def factor(self, adjuster: str) -> float:
        """The response of an adjuster, as a multiple of the geometry's."""
        return float(1 + self._row(adjuster) @ self.state)

    def factor_uncertainty(self, adjuster: str) -> float:
        """Half-width of the 95 % interval of ``factor``."""
        row = self._row(adjuster)
        return float(_COVERAGE * math.sqrt(row @ self.covariance @ row))

    @property
    def instrument_factor(self) -> float:
        """What all adjusters share."""
        return float(1 + self.state[0])

    @property
    def instrument_factor_uncertainty(self) -> float:
        """Half-width of the 95 % interval of ``instrument_factor``."""
        return float(_COVERAGE * math.sqrt(self.covariance[0, 0]))

    @property
    def doubts(self) -> dict[str, float]:
        """Half-width of each adjuster's 95 % interval, as a share of its response."""
        return {
            name: self.factor_uncertainty(name) / abs(self.factor(name)) for name in self.adjusters
        }

    @property
    def factors(self) -> dict[str, float]:
        return {name: self.factor(name) for name in self.adjusters}

    def _row(self, adjuster: str) -> Array:
        row = np.zeros(1 + len(self.adjusters))
        row[[0, 1 + self.adjusters.index(adjuster)]] = 1.0
        return row


@dataclass(frozen=True)
class Change:
    """A string's error before and after a round, cents, with the 95 % half-widths."""

    before_cents: float
    before_uncertainty_cents: float
    after_cents: float
    after_uncertainty_cents: float

    @property
    def found_cents(self) -> float:
        return self.after_cents - self.before_cents

    @property
    def uncertainty_cents(self) -> float:
        return math.hypot(self.before_uncertainty_cents, self.after_uncertainty_cents)

    @property
    def beyond_doubt(self) -> bool:
        """Whether the change exceeds its uncertainty."""
        return abs(self.found_cents) > self.uncertainty_cents


@dataclass(frozen=True)
class Agreement:
    """What was predicted for a string and what was found, cents, with the 95 % half-widths.

    ``normalised_difference`` is E_n of ISO 13528 (recalled, not looked up): the difference against
    the root sum of squares of both half-widths; within -1 to 1 they agree.
    """

    string: int
    predicted_cents: float
    predicted_uncertainty_cents: float
    found_cents: float
    found_uncertainty_cents: float

    @property
    def normalised_difference(self) -> float:
        both = math.hypot(self.predicted_uncertainty_cents, self.found_uncertainty_cents)
        return (self.found_cents - self.predicted_cents) / both if both else 0.0

    @property
    def moved(self) -> bool:
        return self.predicted_cents != 0

    @property
    def learned_from(self) -> bool:
        return self.moved and abs(self.normalised_difference) <= FURTHEST_LEARNED

    @property
    def unchanged(self) -> bool:
        """Whether what was found is no sure change."""
        return abs(self.found_cents) <= self.found_uncertainty_cents

    @property
    def not_moved(self) -> bool:
        """Whether nothing changed where much should have: it was hardly moved at all."""
        return self.moved and self.unchanged and not self.learned_from

    @property
    def wrong_way(self) -> bool:
        """Whether what changed, changed beyond doubt the other way."""
        opposite = self.found_cents * self.predicted_cents < 0
        return opposite and not self.unchanged and abs(self.normalised_difference) > 1

    @property
    def in_words(self) -> str:
        off, beyond = abs(self.normalised_difference), abs(self.found_cents)
        if not self.moved:
            told = "unmoved, and unchanged"
            return told if off <= 1 else "changed though unmoved; was the string, too?"
        if off <= 1:
            return UNTOLD if self.unchanged else "as predicted"
        if self.not_moved:
            return "no change found; was it moved, and are these the later recordings?"
        if self.wrong_way:
            return WRONG_WAY
        opposite = self.found_cents * self.predicted_cents < 0
        word = "more" if beyond > abs(self.predicted_cents) and not opposite else "less"
        if self.learned_from:
            return f"{word} than predicted"
        return f"far {word} than predicted; check thread and turns"


@dataclass(frozen=True)
class Moves:
    """Mm that each adjuster was moved, or will be, by name; and the strings' effects."""

    adjusters: Sequence[Adjuster]
    moves_mm: Mapping[str, float]
    effects: Mapping[int, SaddleEffect]


def prior_response(adjusters: Sequence[Adjuster]) -> Response:
    """What is assumed of an instrument that has not been adjusted yet."""
    names = tuple(each.name for each in adjusters)
    spread = np.array([SHARED_SPREAD, *([OWN_SPREAD] * len(names))])
    return Response(names, np.zeros(spread.size), np.diag(spread**2))


def predicted_changes_cents(
    response: Response, moves: Moves, strings: Sequence[int]
) -> dict[int, tuple[float, float]]:
    """For each string the change of its error that moves should make, with its 95 % half-width."""
    if not strings:
        return {}
    changes, slopes, read = _predicted(response.state, moves, strings)
    variances = np.diag(slopes @ response.covariance @ slopes.T + read)
    half_widths = _COVERAGE * np.sqrt(variances)
    return {s: (float(changes[i]), float(half_widths[i])) for i, s in enumerate(strings)}


def learn(
    response: Response, done: Moves, changes: Mapping[int, Change]
) -> tuple[Response, list[Agreement]]:
    """The response after a round, and how well each string's change had been predicted."""
    predictions = predicted_changes_cents(response, done, list(changes))
    agreements = [
        Agreement(
            string, *predicted, changes[string].found_cents, changes[string].uncertainty_cents
        )
        for string, predicted in predictions.items()
    ]
    fit = {each.string: changes[each.string] for each in agreements if each.learned_from}
    moved = [each for each in agreements if each.moved]
    if not fit or len(fit) < LEAST_SHARE_LEARNED * len(moved):
        return response, agreements
    return _updated(response, done, fit), agreements


def _updated(response: Response, done: Moves, fit: Mapping[int, Change]) -> Response:
    """Bayes' rule for the changes of equation (2), as an iterated Kalman update."""
    strings = list(fit)
    found = np.array([change.found_cents for change in fit.values()])
    own = np.array([change.uncertainty_cents for change in fit.values()]) / _COVERAGE
    state = prior = response.state
    for _ in range(_ROUNDS):
        predicted, slopes, read = _predicted(state, done, strings)
        innovation = found - predicted - slopes @ (prior - state)
        noise = slopes @ response.covariance @ slopes.T + np.diag(own**2) + read
        gain = np.linalg.solve(noise, slopes @ response.covariance).T
        state = prior + gain @ innovation
    covariance = response.covariance - gain @ slopes @ response.covariance
    covariance = (covariance + covariance.T) / 2
    return Response(response.adjusters, state, covariance, response.rounds + 1)


def _predicted(state: Array, done: Moves, strings: Sequence[int]) -> tuple[Array, Array, Array]:
    """Equation (2): changes (n,), their derivatives by the state, covariance of what was read."""
    moves = np.array([done.moves_mm.get(each.name, 0.0) for each in done.adjusters])
    shares = np.array(
        [[each.share.get(string, 0.0) for each in done.adjusters] for string in strings]
    )
    factors = 1 + state[0] + state[1:]
    settings = shares @ (factors * moves)
    effects = [done.effects[string] for string in strings]
    change = np.array([e.change_cents(d) for e, d in zip(effects, settings, strict=True)])
    slope = np.array([e.slope_cents_per_mm(d) for e, d in zip(effects, settings, strict=True)])
    by_own = slope[:, None] * shares * moves
    slopes = np.column_stack([by_own.sum(axis=1), by_own])
    steps = np.array([each.steps.smallest_mm or 0.0 for each in done.adjusters])
    reading = slope[:, None] * shares * factors * np.where(moves != 0, steps / math.sqrt(12), 0.0)
    return change, slopes, reading @ reading.T
