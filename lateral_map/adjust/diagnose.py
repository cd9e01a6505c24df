"""Which slip explains a misfit? Every hypothesis is screened, the likely refitted, then ranked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from lateral_map.adjust.near import Fitted, fit_near, fitted_of
from lateral_map.adjust.prior import tied_locates
from lateral_map.adjust.route import fit_route, misfit_in_plan
from lateral_map.adjust.slips import (
    SWAPPED,
    Cause,
    Equations,
    Hypothesis,
    list_hypotheses,
    list_moves,
)
from lateral_map.adjust.solve import LeastSquares, Linear, gram_matrix, solve_least_squares
from lateral_map.adjust.ties import marks_of
from lateral_map.errors import AdjustmentError
from lateral_map.model.arrays import Floats, Indices, sparse_product
from lateral_map.model.chance import SURE
from lateral_map.model.diagnosis import Diagnosis, Slip, SlipName, measure_of
from lateral_map.model.far import far_footages
from lateral_map.model.identity import ReadingId, ReadingKind
from lateral_map.model.mending import mend, mend_all, off_the_run
from lateral_map.model.readings import (
    bend_of,
    bend_reading,
    reading_value,
    tie_of,
    without_reading,
)
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.threads import one_blas_thread

# In log odds: a hypothesis this far behind the best by first order is not refitted, nor one with
# less than this against no slip at all. Gross misfits bend the line, and first order is the less to
# be trusted the more there is to explain: so a share of the best is allowed besides.
_SCREENED_BEHIND, _SHARE_BEHIND = 10.0, 0.4
_SCREENED_BELOW = -3.0
_MOST_REFITS, _MOST_PLACES = 16, 3
# Marks are screened so many hypotheses at a time.
_AT_ONCE = 100
_SIZE_STEPS = 5
_SAME_PLACE_M = 0.05
# A direction checked less than this share of the best is not checked at all.
_TOLD_APART = 1e-6
# Diagnoses less probable than this are not told.
_LEAST_TOLD = 0.02
# Of a misread value's chance this much is spread over the slips of the pen.
_PEN_SHARE = 0.4
# And of a bend's this much over the fittings there are.
_FITTING_SHARE = 0.8
# A bend put where a slip was taken for true is found again by its footage.
_SAME_BEND_M = 1e-6
_OF_FITTINGS = ("bend angle", "bend not noted")
# How far off its angle a fitting is laid, radians.
_FITTING_LAID = 0.05
# Slips that move what was read along the run; told so many sd smaller to keep it there, at most.
_MOVING: frozenset[SlipName] = frozenset(
    ("footage misread", "counter not at zero", "counter slipped", "counter scale", "bend misplaced",
     "riser left out", "riser counted twice")
)  # fmt: skip
_HELD_BACK, _JUST_ON_M = 2.0, 1e-3
# How often readings are noisier than stated, with no slip in them.
_NOISIER = 0.02
# A mended fit this many sd of chi-square above its freedom is poor still: two slips are tried.
_POOR = 3.0
# A misfit this far above its freedom bends the line so far that no step from it may lead back.
_GROSS = 100.0
# So far behind the best in log odds nothing is told, and nothing changes what is.
_HOPELESS = 30.0
_MOST_ELSEWHERE = 12
_MOST_FIRSTS = 3
# A footage that stands alone is tried at places up to this many times the rest's.
_AMONG_THE_REST = 1.3


@dataclass(frozen=True)
class _Mended:
    """A hypothesis with its best size, what is known of it (k, k), and the chi-square left."""

    hypothesis: Hypothesis
    size: Floats
    information: Floats
    chi_square: float
    fitted: Fitted


@dataclass(frozen=True)
class _Explanation:
    """Slips that explain together.

    ``log_odds`` are theirs against no slip at all, ``log_ratio`` the likelihood's.
    ``made_in`` are the sites each was made in; ``fitted`` is the line with them mended.
    """

    slips: tuple[Slip, ...]
    groups: tuple[tuple[object, ...], ...]
    made_in: tuple[Site, ...]
    log_odds: float
    log_ratio: float
    mended: _Mended


@one_blas_thread()
def explain(route: Route, fitted: Callable[[], Fitted] | None = None) -> tuple[Diagnosis, ...]:
    """Return what best explains a misfit, most probable first; no diagnosis where none need be.

    ``fitted`` returns the route with its equations, where somebody else asks for them too.

    Each hypothesis is weighed by Bayes' rule: how often such a slip is made, times the likelihood
    of the readings with its size integrated out (Laplace's approximation about the best size of a
    true refit, under a wide prior), against the readings as they stand and against readings merely
    noisier than stated.
    """
    # Nothing is left over that could misfit; or the run is long, and no diagnosis is sought.
    if route.degrees_of_freedom <= 0 or route.is_long:
        return ()
    equations = Equations(
        route.site, route.chain, route.layout, route.observations, route.unknowns, route.design
    )
    likely = _likely(equations, route.residuals, route.spread)
    if not likely:
        return _ranked(route, [])
    line = fitted() if fitted else fitted_of(route)
    singles = [*_explain(line, likely), *_explain_far(line)]
    if _is_gross(line):
        singles += _explain_elsewhere(line, ("turn",))
        if all(_is_poor(line, one) for one in singles):
            singles += _explain_elsewhere(line, ("mark", "point"))
    found = list(singles)
    if all(_is_poor(line, one) for one in singles):
        for one in sorted(singles, key=lambda one: -one.log_odds)[:_MOST_FIRSTS]:
            found += _explain_rest(one)
    return _ranked(route, found)


def _equations_of(fitted: Fitted) -> Equations:
    """Return what a line's equations are of."""
    system = fitted.system
    return Equations(
        system.site, system.chain, system.layout, system.rows.observations,
        fitted.unknowns, fitted.design,
    )  # fmt: skip


def _explain_rest(first: _Explanation) -> list[_Explanation]:
    """Return the explanations of which a first, of one slip or two tapes swapped, is a part."""
    site, slip = first.made_in[0], first.slips[0]
    # Its size is not held while the other is sought, where it is a reading that can be left out.
    left = (
        None
        if slip.id is None
        or slip.slip == "bend misplaced"
        or slip.id.kind == "footage"
        or len(first.slips) > 1
        else without_reading(site, slip.id)
    )
    mended = left or mend_all(site, first.slips)
    if mended is None:
        return []
    try:
        base = fit_near(mended, first.mended.fitted)
    except AdjustmentError:
        return []
    readings = {one.id for one in first.slips if one.id is not None}
    return [
        _Explanation(
            slips=(*first.slips, *one.slips),
            groups=(*first.groups, *one.groups),
            made_in=(*first.made_in, *one.made_in),
            log_odds=first.log_odds + one.log_odds,
            log_ratio=first.log_ratio + one.log_ratio,
            mended=one.mended,
        )
        for one in _explain(base, _likely(_equations_of(base), base.residuals, base.spread))
        # One reading is wrong in one way.
        if readings.isdisjoint(each.id for each in one.slips)
    ]


def _explain(fitted: Fitted, likely: list[Hypothesis]) -> list[_Explanation]:
    """Return the slips that would explain a fit, each truly refitted."""
    found: list[_Explanation] = []
    for hypothesis in likely:
        refit = _refit_exact if hypothesis.is_exact else _refit_moved
        if (mended := refit(fitted, hypothesis, fitted)) is not None:
            found += _weigh_causes(fitted, mended)
    if found and (_is_gross(fitted) or all(_is_poor(fitted, one) for one in found)):
        found += _explain_gross(fitted, found)
    return found


def _is_poor(fitted: Fitted, one: _Explanation) -> bool:
    """Say whether an explanation leaves chi-square well above the freedom."""
    return _misfits(one.mended.chi_square, fitted.freedom)


def _misfits(chi_square: float, freedom: int) -> bool:
    """Say whether a chi-square is well above its freedom."""
    return chi_square - freedom > _POOR * math.sqrt(2.0 * max(freedom, 1))


def _is_gross(fitted: Fitted) -> bool:
    """Say whether a line misfits so much in plan that a slip may have led it elsewhere."""
    if fitted.chi_square - fitted.freedom <= _GROSS:
        return False
    chi_square, freedom = misfit_in_plan(fitted.system, fitted.residuals)
    return chi_square - freedom > _GROSS


def _explain_gross(fitted: Fitted, found: list[_Explanation]) -> list[_Explanation]:
    """Return the slips of the marks blamed so far, sought from the line without each such mark.

    A gross slip bends the line so far that no step from it leads back.
    """
    best = sorted(found, key=lambda one: -one.log_odds)
    hypotheses = list_hypotheses(_equations_of(fitted))
    # Of a few marks all: the one that bent the line may look as good as any.
    blamed = [one.slips[0].id for one in best] + [one.id for one in hypotheses]
    marks = dict.fromkeys(one.mark for one in blamed if one is not None)
    # Where one slip explains, others are of interest that come anywhere near it.
    alone = not all(_is_poor(fitted, one) for one in found)
    least = best[0].log_odds - _HOPELESS if alone else -math.inf
    again = []
    for mark in [*filter(None, marks)][:_MOST_FIRSTS]:
        own = [one for one in hypotheses if one.id and one.id.mark == mark]
        again += _explain_mark(fitted, fitted, own, least)
    return again


def _explain_mark(
    fitted: Fitted, near: Fitted, own: list[Hypothesis], least: float = -math.inf
) -> list[_Explanation]:
    """Return a mark's ``own`` slips, sought from the line ``near`` with that mark left free.

    None is where none can have ``least`` log odds: no slip gains more than doing without all that
    was read of the mark does.
    """
    read = [one for one in own if one.is_exact and one.id and one.id.kind != "mark"]
    if read and least > -math.inf:
        nothing = replace(read[0], columns=np.concatenate([one.columns for one in read], axis=1))
        unread = _refit_exact(near, nothing, near)
        if unread and 0.5 * (fitted.chi_square - unread.chi_square) < least:
            return []
    free = _without_mark(near, own)
    if free is None:
        return []
    found: list[_Explanation] = []
    for one in own:
        refit = _refit_exact if one.is_exact else _refit_moved
        mended = refit(near, one, free)
        if one.id and one.id.kind == "footage" and not one.is_exact:
            # No first order leads round the bends between where a mark was read and where it lies.
            end_m = fitted.system.site.run.end_m
            if mended is None or _misfits(mended.chi_square, fitted.freedom):
                mended = _refit_meant(near, one, free, end_m) or mended
        if mended is not None:
            found += _weigh_causes(fitted, mended)
    return found + _explain_swapped(fitted, free, own)


def _refit_meant(fitted: Fitted, one: Hypothesis, near: Fitted, limit_m: float) -> _Mended | None:
    """Return the best refit of a footage that a slip of the pen made of one below a limit."""
    cause, read = one.causes[0], one.footage_m or 0.0
    zero = fitted.system.site.counter.zero_m
    meant = [size for size in cause.sizes if zero < read - size < limit_m]
    tried = [_step_moved(fitted, one, near, np.array([size]), np.eye(1)) for size in meant]
    return min(filter(None, tried), key=lambda mended: mended.chi_square, default=None)


def _explain_elsewhere(fitted: Fitted, kinds: tuple[ReadingKind, ...]) -> list[_Explanation]:
    """Return the slips of readings of some kinds, sought from the lines that fit best without each.

    A gross slip may make the mirror image of the whole line fit less badly than the line itself;
    and a line led round a bend the wrong way is not turned back by steps.
    """
    found: list[_Explanation] = []
    readings = [one.id for one in list_hypotheses(_equations_of(fitted)) if one.id]
    doubted = [one for one in dict.fromkeys(readings) if one.kind in kinds]
    for reading in doubted[:_MOST_ELSEWHERE]:
        for home in _lines_without(fitted.system.site, reading):
            every = list_hypotheses(_equations_of(home))
            if reading.kind == "mark":
                own = [one for one in every if one.id and one.id.mark == reading.of]
                found += _explain_mark(fitted, home, own)
                continue
            own = [one for one in every if one.id == reading and one.is_exact]
            alone = [_refit_exact(home, one, home) for one in own]
            found += [each for one in alone if one for each in _weigh_causes(fitted, one)]
    return found


def _lines_without(site: Site, reading: ReadingId) -> list[Fitted]:
    """Return the lines that fit without a reading, under all equations; none where none does.

    Of a bend it is the lines that fit with it turned the other way: left to turn any way, it leads
    the line as it is noted before any tie is looked at.
    """
    try:
        left = without_reading(site, reading)
        if reading.kind == "turn":
            turned = 2.0 * bend_of(site, reading).turn_deg
            left = mend(site, Slip("bend turned the other way", (turned,), reading))
        if left is None:
            return []
        route = fit_route(left)
        base = fitted_of(route)
        if _misfits(base.chi_square, base.freedom):
            return []
        fits = [route.unknowns, *(one.unknowns for one in route.alternatives)]
        return [fit_near(site, replace(base, unknowns=one), most_steps=0) for one in fits]
    except AdjustmentError:
        return []


def _explain_far(fitted: Fitted) -> list[_Explanation]:
    """Return the footages that stand alone as misread, sought from the line without their locates.

    The line solved with such a footage doubles back, and no step from it leads home.
    """
    site, found = fitted.system.site, []
    far = {one.reading: one for one in far_footages(site)}
    # The chain a far footage makes is as long: all that is wanted of it is which reading it is.
    for one in list_hypotheses(_equations_of(fitted)) if far else []:
        reading = one.id
        if reading is None or reading not in far or one.is_exact or reading.kind != "footage":
            continue
        left = without_reading(site, reading)
        if left is None:
            continue
        try:
            base = fitted_of(fit_route(left))
        except AdjustmentError:
            continue
        best = _refit_meant(fitted, one, base, far[reading].rest_m * _AMONG_THE_REST)
        if best is not None:
            found += _weigh_causes(fitted, best)
    return found


def _explain_swapped(fitted: Fitted, near: Fitted, own: list[Hypothesis]) -> list[_Explanation]:
    """Return the exchanges of two tapes' points among one mark's ``own``, each truly refitted."""
    site = fitted.system.site
    tapes = [one for one in own if one.id and one.id.kind == "tape"]
    found = []
    for pair in itertools.combinations(tapes, 2):
        points = [tie.point for one in pair if one.id and (tie := tie_of(site, one.id))]
        slips = tuple(
            Slip("tape from another point", (0.0,), one.id, point=point)
            for one, point in zip(pair, reversed(points), strict=True)
        )
        try:
            line = fit_near(mend(mend(site, slips[0]), slips[1]), near)
        except (AdjustmentError, ValueError):
            continue
        gain = 0.5 * (fitted.chi_square - line.chi_square)
        mended = _Mended(pair[0], np.zeros(1), np.ones((1, 1)), line.chi_square, line)
        groups = tuple(((one.slip, one.id, one.point, one.at_foot),) for one in slips)
        found.append(
            _Explanation(slips, groups, (site, site), gain + math.log(SWAPPED), gain, mended)
        )
    return found


def _without_mark(fitted: Fitted, own: list[Hypothesis]) -> Fitted | None:
    """Return the line with one mark free, that mark put upon it; None where it is not tied."""
    dropped = [one for one in own if one.id and one.id.kind == "mark"]
    base = _refit_exact(fitted, dropped[0], fitted) if dropped else None
    if base is None:
        return None
    rows = np.flatnonzero(dropped[0].columns.any(axis=1))
    offsets = np.flatnonzero(fitted.design[rows].any(axis=0))
    unknowns = base.fitted.unknowns.copy()
    unknowns[offsets] = 0.0
    return replace(base.fitted, unknowns=unknowns)


def _likely(of: Equations, residuals: Floats, spread: Floats) -> list[Hypothesis]:
    """Return the hypotheses worth a refit, by first order, the best first; ``spread`` is A C."""
    hypotheses, pull = list_hypotheses(of), of.design.T @ residuals
    screened: list[tuple[float, int]] = []
    # Some at a time, so that what is worked out of them stays at hand.
    for first in range(0, len(hypotheses), _AT_ONCE):
        some = hypotheses[first : first + _AT_ONCE]
        # Each mark m a row; what the line does not follow of it is checked, m - A C Aᵀ m.
        marks = np.concatenate([one.columns for one in some], axis=1).T
        seen, followed = sparse_product(marks, of.design), sparse_product(marks, spread)
        score = marks @ residuals - followed @ pull
        widths = np.array([one.columns.shape[1] for one in some])
        rates = np.log([max(cause.rate for cause in one.causes) for one in some])
        worth = _most_gains(widths, marks, seen, followed, score) + rates >= _SCREENED_BELOW
        ends = np.cumsum(widths).tolist()
        for index in np.flatnonzero(worth).tolist():
            one, rate = some[index], float(rates[index])
            block = slice(ends[index] - one.columns.shape[1], ends[index])
            information = marks[block] @ marks[block].T - seen[block] @ followed[block].T
            size = _solve_known(information, score[block])
            gain = 0.5 * float(score[block] @ size)
            if gain + rate < _SCREENED_BELOW:
                continue
            odds = [
                _log_price(cause, size, information, loose=gain) + math.log(cause.rate)
                for cause in one.causes
            ]
            screened.append((gain + max(odds), first + index))
    screened.sort(key=lambda one: -one[0])
    best = max(screened[0][0], 0.0) if screened else 0.0
    least = max(best * (1.0 - _SHARE_BEHIND) - _SCREENED_BEHIND, _SCREENED_BELOW)
    places: dict[str, int] = {}
    kept: list[Hypothesis] = []
    for odds_of_it, index in screened:
        group = hypotheses[index].group
        places[group] = places.get(group, 0) + 1
        if odds_of_it < least or len(kept) >= _MOST_REFITS:
            break
        if not group or places[group] <= _MOST_PLACES:
            kept.append(hypotheses[index])
    return kept


def _most_gains(
    widths: Indices, marks: Floats, seen: Floats, followed: Floats, score: Floats
) -> Floats:
    """Return what the marks of slips, each of one or two columns, gain by first order.

    Of a mark of one column it is what it could gain if all of it were checked.
    """
    gains, first = np.empty(len(widths)), np.cumsum(widths) - widths
    at = first[widths == 1]
    checked = np.square(marks[at]).sum(axis=1) - np.einsum("kn,kn->k", seen[at], followed[at])
    gains[widths == 1] = np.square(score[at]) / np.maximum(checked, 1e-12) / 2.0
    pair = first[widths == 2][:, None] + np.arange(2)
    own = marks[pair]
    information = own @ own.transpose(0, 2, 1) - seen[pair] @ followed[pair].transpose(0, 2, 1)
    values, vectors = np.linalg.eigh(information)
    along = np.square(np.einsum("kij,ki->kj", vectors, score[pair]))
    kept = values > _TOLD_APART * np.maximum(values[:, 1:], 1e-12)
    gains[widths == 2] = (along / np.where(kept, values, np.inf)).sum(axis=1) / 2.0
    return gains


def _solve_known(information: Floats, score: Floats) -> Floats:
    """Return the size that a score calls for, zero along what nothing checks."""
    values, vectors = np.linalg.eigh(information)
    kept = values > _TOLD_APART * max(float(values[-1]), 1e-12)
    return np.asarray(vectors[:, kept] @ ((vectors[:, kept].T @ score) / values[kept]))


def _log_price(cause: Cause, size: Floats, information: Floats, loose: float = 0.0) -> float:
    """Return the log of what a cause's freedom costs at the best size.

    Free sizes: prior density times the volume of the likelihood, the prior a mixture of normal ones
    from half to eight times the usual size, so that it has long tails. Fixed sizes: what the best
    size leaves of the likelihood of each, averaged. ``loose`` is the gain of a first order that is
    not to be trusted to the last digit.
    """
    first = float(size[0])
    if cause.point:
        return 0.0
    if abs(first) > cause.most or (cause.positive and first <= 0.0):
        return -50.0
    fixed = -math.inf
    if cause.sizes:
        sd = 1.0 / math.sqrt(max(float(information[0, 0]), 1e-12))
        wide = math.hypot(sd, _FITTING_LAID) if cause.slip in _OF_FITTINGS else sd
        off = [
            max(abs(_apart(cause, first, one)) - 0.2 * abs(one) * (loose > 20.0), 0.0)
            for one in cause.sizes
        ]
        near = sum(math.exp(-0.5 * (one / wide) ** 2) for one in off)
        fixed = math.log(near / len(off) * sd / wide + 1e-300)
    if not cause.usual:
        return max(fixed, -0.9 * loose - 20.0)
    known = information[0] if len(information) == 1 else np.linalg.eigvalsh(information)
    known = np.maximum(known, 0.0)
    usual = cause.usual * np.array([0.5, 1.0, 2.0, 4.0, 8.0])
    terms = -0.5 * float(size @ size) / usual**2
    terms -= 0.5 * np.log1p(usual[:, None] ** 2 * known).sum(axis=1)
    top = float(terms.max())
    free = top + math.log(float(np.mean(np.exp(terms - top)))) + math.log(1.0 + cause.positive)
    if not cause.sizes:
        return free
    share = _FITTING_SHARE if cause.slip in _OF_FITTINGS else _PEN_SHARE
    return float(np.logaddexp(math.log(1.0 - share) + free, math.log(share) + fixed))


def _apart(cause: Cause, size: float, other: float) -> float:
    """Return how far a size is from another, angles the shorter way round."""
    apart = size - other
    return math.remainder(apart, math.tau) if measure_of(cause.slip) == "angle" else apart


def _refit_exact(fitted: Fitted, one: Hypothesis, near: Fitted) -> _Mended | None:
    """Return the refit with a mark's size free: its columns projected out of the equations.

    The solver starts from ``near``, the same equations elsewhere.
    """
    system, split = fitted.system, fitted.system.rows.count
    unit = np.linalg.qr(one.columns)[0]
    linear, tied = unit[:split], unit[split:]
    full, observed = system.linear.design, system.rows.observed
    design, kept = full - linear @ (linear.T @ full), observed - linear @ (linear.T @ observed)

    def evaluate(unknowns: Floats) -> tuple[Floats, Floats]:
        residuals, rest = system.evaluate(unknowns)
        return residuals - tied @ (tied.T @ residuals), rest - tied @ (tied.T @ rest)

    try:
        problem = LeastSquares(Linear.of(design), kept, evaluate, system.curvature)
        found = solve_least_squares(problem, near.unknowns, most_steps=20)
        covariance = found.normal.inverse()
        residuals, rest = system.evaluate(found.unknowns)
        # What the whole equations still miss is the size; what is known of it is what they know
        # once the unknowns follow.
        missed = np.concatenate([observed - full @ found.unknowns, residuals])
        cross = np.concatenate([full, rest]).T @ one.columns
        taken = cross.T @ np.linalg.solve(system.linear.normal + gram_matrix(rest), cross)
    except np.linalg.LinAlgError:
        return None
    size = np.linalg.lstsq(one.columns, missed, rcond=None)[0]
    mended = Fitted(
        system,
        found.unknowns,
        np.concatenate([kept - design @ found.unknowns, found.residuals]),
        np.concatenate([design, found.design]),
        covariance,
    )
    return _Mended(one, size, one.columns.T @ one.columns - taken, found.cost, mended)


def _refit_moved(fitted: Fitted, one: Hypothesis, near: Fitted) -> _Mended | None:
    """Return the refit of a move of the pipe: the site mended by better and better sizes."""
    checked = one.columns - fitted.design @ (fitted.covariance @ (fitted.design.T @ one.columns))
    information, cause = one.columns.T @ checked, one.causes[0]
    first = [_solve_known(information, checked.T @ fitted.residuals)]
    if not cause.usual:
        first = [np.array(cause.sizes[:1])]
    if cause.slip == "bend misplaced":
        # Past the next locate a bend's place is no longer of first order.
        first += [np.array([one.causes[0].usual]), np.array([-one.causes[0].usual])]
    found = [
        mended
        for size in first
        if (mended := _step_moved(fitted, one, near, size, information)) is not None
    ]
    return min(found, key=lambda mended: mended.chi_square, default=None)


def _step_moved(
    fitted: Fitted, one: Hypothesis, near: Fitted, size: Floats, information: Floats
) -> _Mended | None:
    site, cause = fitted.system.site, one.causes[0]
    best: _Mended | None = None
    for _ in range(_SIZE_STEPS):
        if cause.positive:
            size = np.clip(size, 0.0, cause.most)
        try:
            near = fit_near(mend(site, one.named(cause, size)), near)
        except (AdjustmentError, ValueError):
            break
        better = best.chi_square - near.chi_square if best is not None else math.inf
        if better > 0.0:
            best = _Mended(one, size, information, near.chi_square, near)
        if better < 0.05 or not cause.usual:
            break
        again = _same_in(near, one, float(size[0]))
        if again is None:
            break
        marks = again.columns
        checked = marks - near.design @ (near.covariance @ (near.design.T @ marks))
        size = size + _solve_known(marks.T @ checked, checked.T @ near.residuals)
    return best


def _same_in(near: Fitted, one: Hypothesis, size: float) -> Hypothesis | None:
    """Return a hypothesis as it stands about a line mended by its size; None where it has gone."""
    cause, at = one.causes[0], one.footage_m or 0.0
    misplaced = cause.slip == "bend misplaced"
    same = [
        other
        for other in list_moves(_equations_of(near))
        if not other.is_exact
        and (other.causes[0].slip, other.causes[0].at_foot) == (cause.slip, cause.at_foot)
        # Moved, a bend is known by another footage.
        and (misplaced or other.id == one.id)
    ]
    if misplaced or one.group:
        at -= size if misplaced else 0.0
        same = [other for other in same if abs((other.footage_m or 0.0) - at) < _SAME_PLACE_M]
    return same[0] if same else None


def _weigh_causes(fitted: Fitted, mended: _Mended) -> list[_Explanation]:
    """Return each cause that a mark may have as an explanation."""
    one, gain = mended.hypothesis, 0.5 * (fitted.chi_square - mended.chi_square)
    site = fitted.system.site
    found = []
    for cause in one.causes:
        size, sd = mended.size, 0.0
        if cause.point:
            price = _log_other_point(mended, cause)
        else:
            price = _log_price(cause, size, mended.information)
            size = _as_written(cause, size, mended.information)
            if len(size) == 1 and size[0] not in cause.sizes:
                sd = 1.0 / math.sqrt(max(float(mended.information[0, 0]), 1e-6))
            elif cause.slip in _OF_FITTINGS:
                sd = _sd_of_fitting(cause, mended, float(size[0]))
        slip = one.named(cause, size)
        slip = replace(slip, sd=math.degrees(sd) if slip.measure == "angle" else sd)
        held = _held_on_run(site, slip)
        if held is None:
            continue
        slip = held
        group = one.group or (slip.slip, slip.id, cause.point, cause.at_foot)
        found.append(
            _Explanation(
                slips=(slip,),
                groups=((group,),),
                made_in=(site,),
                log_odds=gain + price + math.log(cause.rate),
                log_ratio=gain + price,
                mended=mended,
            )
        )
    return found


def _held_on_run(site: Site, slip: Slip) -> Slip | None:
    """Return a slip no larger than leaves all that was read on the run.

    None where that is less than its size is known to be: then it was not made.
    """
    mended = mend_all(site, (slip,)) if slip.slip in _MOVING else None
    off_m = [] if mended is None or off_the_run(site) else off_the_run(mended)
    if mended is None or not off_m:
        return slip
    over_m = max(mended.counter.zero_m - min(off_m), max(off_m) - mended.run.end_m, 0.0)
    less = replace(slip, size=(slip.size[0] - math.copysign(over_m + _JUST_ON_M, slip.size[0]),))
    held = mend_all(site, (less,)) if over_m <= _HELD_BACK * slip.sd else None
    return None if held is None or off_the_run(held) else less


def _as_written(cause: Cause, size: Floats, information: Floats) -> Floats:
    """Return the size as a slip of the pen has it, where that is likelier than any other size."""
    if not cause.sizes:
        return size
    off = [abs(_apart(cause, one, float(size[0]))) for one in cause.sizes]
    nearest = np.array([cause.sizes[off.index(min(off))]])
    if not cause.usual:
        return nearest
    pen = replace(cause, sizes=(float(nearest[0]),))
    share = _FITTING_SHARE if cause.slip in _OF_FITTINGS else _PEN_SHARE
    fixed = _log_price(replace(pen, usual=0.0), size, information) + math.log(share)
    free = _log_price(replace(cause, sizes=()), size, information) + math.log(1.0 - share)
    return nearest if fixed - math.log(len(cause.sizes)) > free else size


def _sd_of_fitting(cause: Cause, mended: _Mended, told: float) -> float:
    """Return 1 sd of a turn about the fitting told, over all the fittings that there are."""
    wide = math.hypot(1.0 / math.sqrt(max(float(mended.information[0, 0]), 1e-6)), _FITTING_LAID)
    sizes = np.array(cause.sizes)
    weights = np.exp(-0.5 * np.square((sizes - float(mended.size[0])) / wide))
    return math.sqrt(float(weights @ np.square(sizes - told)) / max(float(weights.sum()), 1e-300))


def _log_other_point(mended: _Mended, cause: Cause) -> float:
    """Return the log of how well a tape's length fits another point, the mark placed without it."""
    fitted, reading = mended.fitted, mended.hypothesis.id
    system, unknowns = fitted.system, fitted.unknowns
    site = system.site
    row = [one.mark for one in tied_locates(site)].index(reading.of if reading else "")
    places, slopes = marks_of(system.ties, system.layout, unknowns)
    mark, slope = places[row], slopes[row]
    point = site.plan.point(cause.point)
    away = mark - [point.easting_m, point.northing_m]
    distance = max(float(np.hypot(*away)), 0.01)
    read = reading_value(site, reading) if reading else None
    toward = (away / distance) @ slope
    own = site.accuracy.tape_m**2 + (site.accuracy.tape_fraction * distance) ** 2
    variance = own + point.sd_m**2 + float(toward @ fitted.covariance @ toward)
    off = (read or 0.0) - distance
    # Against a tape that says nothing, as with the size free, it says where the mark lies.
    usual = math.sqrt(variance * float(mended.information[0, 0]))
    return -0.5 * off**2 / variance - math.log(max(usual, 1.0))


def _ranked(route: Route, found: Iterable[_Explanation]) -> tuple[Diagnosis, ...]:
    """Return explanations as diagnoses, each with the chance of all it is part of."""
    # The same slips sought from two lines are one explanation: the better.
    best: dict[object, _Explanation] = {}
    for one in sorted(found, key=lambda one: -one.log_odds):
        best.setdefault(frozenset((x.slip, x.id, x.footage_m, x.point) for x in one.slips), one)
    explanations = list(best.values())
    freedom = route.degrees_of_freedom
    excess = max(route.chi_square / freedom, 1.0)
    noisier = math.log(_NOISIER) + 0.5 * (route.chi_square - freedom * (1.0 + math.log(excess)))
    noisier = noisier if excess > 1.0 else -math.inf
    top = max(0.0, noisier, *(one.log_odds for one in explanations))
    weights = [math.exp(one.log_odds - top) for one in explanations]
    total = sum(weights) + math.exp(-top) + math.exp(noisier - top)
    told: dict[tuple[object, ...], Diagnosis] = {}
    for one, weight in zip(explanations, weights, strict=True):
        first_of = {group: index for index, group in reversed([*enumerate(one.groups)])}
        for group, index in first_of.items():
            slip, share = one.slips[index], weight / total
            if group in told:
                # Neighbouring places of one slip, or the same one beside another: one diagnosis.
                share += told[group].probability
                told[group] = replace(told[group], probability=share)
                continue
            told[group] = Diagnosis(
                slip=slip,
                probability=share,
                likelihood_ratio=math.exp(min(one.log_ratio, 700.0)),
                would_read=_would_read(one.made_in[index], slip),
                chi_square=one.mended.chi_square,
                degrees_of_freedom=one.mended.fitted.freedom,
                together=one.slips,
            )
    # Rounded, so that the last digits of another processor's sums are not told.
    rounded = [replace(one, probability=round(one.probability, 6)) for one in told.values()]
    ranked = sorted(rounded, key=lambda one: -one.probability)
    return tuple(
        one
        for one in ranked
        if one.probability >= (SURE if _was_taken(route.site, one.slip) else _LEAST_TOLD)
    )


def _was_taken(site: Site, slip: Slip) -> bool:
    """Say whether a slip is of what somebody has just taken for true.

    That it may lie a little elsewhere is counted with what was taken; it is asked again only where
    the readings all but demand it.
    """
    if slip.id is None:
        return False
    placed = [one.slip.footage_m for one in site.applied if one.slip.slip == "bend not noted"]
    put = [
        bend_reading(site, bend, "turn")
        for bend in site.bends
        if any(at is not None and abs(bend.footage_m - at) < _SAME_BEND_M for at in placed)
    ]
    return slip.id in (*put, *(one.slip.id for one in site.applied))


def _would_read(site: Site, slip: Slip) -> float | None:
    if slip.id is None or len(slip.size) != 1 or slip.slip == "tape from another point":
        return None
    if slip.slip == "bend misplaced":
        return (slip.footage_m or 0.0) - slip.size[0]
    value = reading_value(site, slip.id)
    return None if value is None else value - slip.size[0]
