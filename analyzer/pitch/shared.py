"""The linear problem behind the phases: a line for each partial, and terms that all share.

For values y_k(t) with weights w_k(t), and rows r(t),

    y_k(t) = c_k + e_k t + sum_i x_i r_i(t)                                                 (1)

The lines are taken out of the values and the rows. All partials share the rows, so what is left of
their products is one small matrix, of which a root is taken once. Each candidate, a subset of rows
with its normal prior, is then solved on that root. On a clean recording the information is so large
that differences of sums of squares would lose every digit: the lines are all but gone before the
products are taken, every column is brought to one size before the root, and the wander is taken
out by orthogonal steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.pitch.spectrum import Real

_SLOPE_SD = 2.0  # relative; a line whose slope is known no better than this is not fitted
_NOTHING = 1e-12  # of weight, so that a line without any can be divided by it
_ROUNDING = 1e-15  # of a product of columns of one size; glides a hair apart are alike to within it
_SEEN = 1e-12  # a row of which the lines leave less than this is rounding, and says nothing


@dataclass(frozen=True)
class SharedTerms:
    """Equation (1) without its lines.

    ``root`` (n, n), upper: hats of the wander first, then candidates of the glide,
    then the values. ``mean`` and ``slope`` (partials,) are the lines through the values about
    ``mean_s``; ``row_mean`` and ``row_slope`` (partials, rows) those through the rows; ``spread``
    (partials,) is the information on a slope.
    """

    root: Real
    hats: int
    mean: Real
    slope: Real
    mean_s: Real
    row_mean: Real
    row_slope: Real
    spread: Real


@dataclass(frozen=True)
class Solutions:
    """Fits of all glides under all priors of the wander: 'none' comes first along both.

    ``evidence``, ``sizes`` and ``variances`` (wanders, glides) are of the glide; ``slopes``
    (partials, wanders, glides) are the e_k; ``tilts``, the same shape, says how a slope leans on
    the glide's size. ``taken`` (hats, wanders, glides) is what of each glide at the size 1, 'none'
    lacking, and last of the values, the hats take. ``reach`` (wanders, hats, partials), 'none'
    lacking, is a root of the covariance that the wander brings to the slopes.
    """

    evidence: Real
    sizes: Real
    variances: Real
    slopes: Real
    tilts: Real
    taken: Real
    reach: Real

    def hats(self, share: Real) -> Real:
        """The hats, (hats,), on average over the fits with probabilities ``share``."""
        say = np.append(-(share * self.sizes)[:, 1:], np.sum(share, axis=1)[:, None], axis=1)
        return np.asarray(self.taken.reshape(self.taken.shape[0], -1) @ say.ravel())


def share_terms(
    values: Real, weights: Real, times_s: Real, hats: Real, glides: Real
) -> SharedTerms:
    """Take the lines out: ``values`` and ``weights`` (partials, samples), rows (rows, samples)."""
    rows = np.concatenate([hats, glides])
    weights, mean_s = _informative(weights, times_s)
    total = np.maximum(np.sum(weights, axis=1), _NOTHING)
    centred = times_s - mean_s[:, None]
    spread = np.maximum(np.sum(weights * centred**2, axis=1), _SLOPE_SD**-2)
    mean = np.sum(weights * values, axis=1) / total
    slope = np.sum(weights * centred * values, axis=1) / spread
    row_mean = (weights @ rows.T) / total[:, None]
    row_slope = ((weights * centred) @ rows.T) / spread[:, None]
    rest = values - mean[:, None] - slope[:, None] * centred
    lines = np.concatenate(
        [weights / np.sqrt(total)[:, None], weights * centred / np.sqrt(spread)[:, None]]
    )
    root = _root(_level(rows, weights, times_s), weights, lines, rest)
    return SharedTerms(root, hats.shape[0], mean, slope, mean_s, row_mean, row_slope, spread)


def _level(rows: Real, weights: Real, times_s: Real) -> Real:
    """The rows less one line each, which takes nothing from them but what all partials' lines do.

    What is left to ``_root`` to take away is then small, and costs few digits.
    """
    weight = np.sum(weights, axis=0)
    centred = times_s - np.sum(weight * times_s) / np.sum(weight)
    mean = rows @ weight / np.sum(weight)
    slope = rows @ (weight * centred) / np.sum(weight * centred**2)
    return np.asarray(rows - mean[:, None] - slope[:, None] * centred)


def _root(rows: Real, weights: Real, lines: Real, rest: Real) -> Real:
    """An upper root of the products of rows and values, the lines taken out; (n, n).

    ``lines`` (2 partials, samples) are the constants and slopes, as weighed directions.
    """
    weight = np.sum(weights, axis=0)
    along = rows @ lines.T
    size = rows.shape[0] + 1
    products = np.empty((size, size))
    products[:-1, :-1] = (rows * weight) @ rows.T - along @ along.T
    products[-1, :-1] = products[:-1, -1] = rows @ np.sum(weights * rest, axis=0)
    products[-1, -1] = np.sum(weights * rest**2)
    left = products.diagonal()
    whole = np.append(rows**2 @ weight, left[-1])
    seen = (left > _SEEN * whole) & (left > 0)
    scale = np.sqrt(np.where(seen, left, np.inf))
    level = products / scale / scale[:, None]
    # What is left of a row is as wrong as the whole of it was rounded.
    rounded = np.divide(whole, left, out=np.ones(size), where=seen)
    return np.asarray(_square_root(level, rounded).T * np.where(seen, scale, 0.0))


def _square_root(level: Real, rounded: Real) -> Real:
    """A lower root of a matrix of ones along its diagonal but for rounding, ``rounded`` at most."""
    size = len(level)
    level.flat[:: size + 1] = 1 + size * _ROUNDING
    try:
        return np.asarray(np.linalg.cholesky(level))
    except np.linalg.LinAlgError:  # rows that are alike, of which the lines leave next to nothing
        level.flat[:: size + 1] = 1 + size * _ROUNDING * rounded
        return np.asarray(np.linalg.cholesky(level))


def _informative(weights: Real, times_s: Real) -> tuple[Real, Real]:
    """The weights without those of lines that cannot be fitted, and the lines' mean times."""
    total = np.maximum(np.sum(weights, axis=1), _NOTHING)
    mean_s = np.sum(weights * times_s, axis=1) / total
    spread = np.sum(weights * (times_s - mean_s[:, None]) ** 2, axis=1)
    return np.where((spread > _SLOPE_SD**-2)[:, None], weights, 0.0), mean_s


def solve_all(terms: SharedTerms, glide_sd: float, roots: Real, sizes: Real) -> Solutions:
    """Solve (1) for each glide, its size normal about 0 with ``glide_sd``, and for each wander.

    ``roots`` (kinds, hats, hats) are roots C of the hats' prior covariances C C' at the size 1; a
    wander is one of these times one of ``sizes`` (sizes,), and all of one kind are diagonal in the
    same basis.
    """
    hats = terms.hats
    top, below = terms.root[:hats, hats:], terms.root[hats:, hats:]
    turn, singular, back = np.linalg.svd(terms.root[:hats, :hats] @ roots)
    inside = turn.transpose(0, 2, 1) @ top
    axes = roots @ back.transpose(0, 2, 1)
    sizes = sizes[:, None]
    left = 1 / (1 + (sizes * singular[:, None]) ** 2)  # of what lies along each axis
    gains = sizes**2 * singular[:, None] * left
    slopes = axes.transpose(0, 2, 1) @ terms.row_slope[:, :hats].T
    reach = (sizes * np.sqrt(left))[..., None] * slopes[:, None]
    powers = np.concatenate([np.sum(top**2, axis=0)[None], _flat(left @ inside**2)])
    crosses = _flat((left * inside[:, None, :, -1]) @ inside)
    crosses = np.concatenate([(top[:, -1] @ top)[None], crosses])
    return _solutions(
        terms,
        glide_sd,
        powers + np.sum(below**2, axis=0),
        crosses + below[:, -1] @ below,
        _taken(axes, gains, inside),
        _flat(reach),
        0.5 * np.sum(np.log(left), axis=-1).ravel(),
    )


def _taken(axes: Real, gains: Real, inside: Real) -> Real:
    """What the hats take of the glides and the values: (hats, wanders, glides + 1), 'none' first.

    ``axes`` (kinds, hats, hats), ``gains`` (kinds, sizes, hats), ``inside`` (kinds, hats, glides
    + 1).
    """
    kinds, sizes, hats = gains.shape
    along = gains.transpose(0, 2, 1)[..., None] * inside[:, :, None]
    found = axes @ along.reshape(kinds, hats, -1)
    taken = np.zeros((hats, 1 + kinds * sizes, inside.shape[2]))
    taken[:, 1:] = found.transpose(1, 0, 2).reshape(hats, kinds * sizes, -1)
    return taken


def _flat(values: Real) -> Real:
    """Kinds and sizes of the wander along one axis."""
    return values.reshape(-1, *values.shape[2:])


def _solutions(
    terms: SharedTerms,
    glide_sd: float,
    powers: Real,
    crosses: Real,
    taken: Real,
    reach: Real,
    shrunk: Real,
) -> Solutions:
    """Finish from what the hats leave.

    ``powers`` and ``crosses`` (wanders, glides + 1), 'none' first, are products of the glides and
    the values with themselves and with the values; ``taken`` and ``reach`` as in ``Solutions``;
    ``shrunk`` (wanders,), 'none' lacking, is what the hats' freedom costs.
    """
    precision = powers[:, :-1] + glide_sd**-2
    sizes = crosses[:, :-1] / precision
    gain = 0.5 * sizes**2 * precision - 0.5 * np.log(precision * glide_sd**2)
    alone = np.append(0.0, shrunk) - 0.5 * powers[:, -1]
    sizes, variances, gain = (_none_first(each) for each in (sizes, 1 / precision, gain))
    hats, wanders, columns = taken.shape
    leaning = (terms.row_slope[:, :hats] @ taken.reshape(hats, -1)).reshape(-1, wanders, columns)
    tilts = _none_first(terms.row_slope[:, None, hats:] - leaning[:, :, :-1])
    slopes = (terms.slope[:, None] - leaning[:, :, -1])[:, :, None] - tilts * sizes
    return Solutions(alone[:, None] + gain, sizes, variances, slopes, tilts, taken, reach)


def _none_first(values: Real) -> Real:
    """Zeros for no glide before the values of the glides, along the last axis."""
    return np.concatenate([np.zeros_like(values[..., :1]), values], axis=-1)
