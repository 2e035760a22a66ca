"""From means and variances of a count to a column of figures: means, ratios and shares with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.fieller import fieller_interval
from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.shares import design_effect, wilson_interval
from vinebook.seasons.columns import ENTRIES, LEVEL_PERCENT, NO_N, UNKNOWN, FigureColumn, new_column
from vinebook.seasons.gathered import ON_ROW, WITHOUT_CANOPY, WITHOUT_SPACING, Gathered
from vinebook.seasons.notes import Note
from vinebook.seasons.sufficing import too_few

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vinebook.seasons.samples import Choice, Moments
    from vinebook.seasons.sufficing import Way

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


def all_cells(gathered: Gathered) -> Ints:
    """Give the index of every cell."""
    return np.arange(len(gathered.cells))


def mean_column(name: str, choice: Choice, moments: Moments, scale: float = 1.0, basis: str = "") -> FigureColumn:
    """Make the column of a mean per vine that cannot be negative: t on the log scale.

    Parameters
    ----------
    name : figure.
    choice, moments : the count; with panels the denominator is the vines of a panel.
    scale : from the stored unit to the figure's.
    basis : which rows, in words.
    """
    column = new_column(name, np.arange(len(moments.n)), basis)
    column.value = moments.ratio * scale
    interval = log_t_interval(moments.ratio, moments.ratio_se, moments.df, LEVEL_PERCENT)
    moves = _moves(moments)
    column.low = np.where(moves, interval.low * scale, np.nan)
    column.high = np.where(moves, interval.high * scale, np.nan)
    _settle(column, choice, moments, "mean")
    return column


def ratio_column(name: str, choice: Choice, moments: Moments, scale: float = 1.0, basis: str = "") -> FigureColumn:
    """Make the column of a ratio of sums on the same vines or lots: paired Fieller interval."""
    column = new_column(name, np.arange(len(moments.n)), basis)
    column.value = moments.ratio * scale
    fieller = fieller_interval(
        moments.y,
        moments.var_y,
        moments.x,
        moments.var_x,
        bounded_covariance(moments),
        t_quantile(moments.df, LEVEL_PERCENT),
    )
    moves = _moves(moments)
    column.low = np.where(moves, np.maximum(fieller.low, 0.0) * scale, np.nan)
    column.high = np.where(moves, fieller.high * scale, np.nan)
    column.note((fieller.g >= 1) & ~choice.is_hand, Note.UNBOUNDED)
    _settle(column, choice, moments, "ratio")
    return column


def _moves(moments: Moments) -> Bools:
    """Say where the vines differ at all: a few that are equal or all zero are no sign of certainty."""
    return np.asarray((moments.y > 0) & (moments.ratio_se > 0), dtype=np.bool_)


def bounded_covariance(moments: Moments) -> Floats:
    """Give the covariance, cut to what the variances allow; weighted parts can pass it by rounding."""
    limit = np.sqrt(moments.var_x * moments.var_y)
    return np.clip(moments.cov, -limit, limit)


def share_column(name: str, choice: Choice, moments: Moments, basis: str = "") -> FigureColumn:
    """Make the column of a share in percent: Wilson at the units counted ÷ the design effect, t on vines − 1."""
    column = new_column(name, np.arange(len(moments.n)), basis)
    share = np.clip(moments.ratio, 0.0, 1.0)
    correction = np.where(moments.correction > 0, moments.correction, np.nan)
    effect = design_effect(share, moments.ratio_se**2 / correction, moments.sum_x)
    units = moments.sum_x / (np.fmax(effect, 1.0) * correction)
    interval = wilson_interval(share, units, t_quantile(moments.df, LEVEL_PERCENT))
    column.value, column.low, column.high = 100 * share, 100 * interval.low, 100 * interval.high
    _settle(column, choice, moments, "share")
    return column


def own_cv(moments: Moments) -> Floats:
    """Give how much the units of each sample differ, as a fraction of their mean."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(moments.ratio_se * np.sqrt(moments.n / moments.correction) / moments.ratio)


def _settle(column: FigureColumn, choice: Choice, moments: Moments, way: Way) -> None:
    """Add what the count says of itself: units, how chosen, date, and why there is no interval or number."""
    column.n = np.where(moments.n > 0, moments.n, NO_N)
    column.chosen = choice.chosen.astype(np.int16)
    column.dated_on = choice.day.copy()
    column.on_samples = ((choice.cell, choice.sample),)
    column.weighed_by = moments.weighed_by
    counted = moments.n > 0
    column.set_aside = moments.set_aside
    column.note(counted & (moments.set_aside > 0), Note.SET_ASIDE)
    column.note(counted & choice.hand_left_out, Note.HAND_LEFT_OUT)
    column.note(counted & moments.is_pooled, Note.POOLED_PARTS)
    full = moments.is_full
    column.low, column.high = np.where(full, column.value, column.low), np.where(full, column.value, column.high)
    column.notes[full] &= ~int(Note.UNBOUNDED)
    column.note(full, Note.ALL_DRAWN)
    hand = counted & choice.is_hand
    spread = moments.ratio_se * np.sqrt(moments.n)
    scale = np.where(moments.ratio > 0, column.value / moments.ratio, np.nan)
    column.spread = np.where(hand, spread * scale, np.nan)
    column.drop_interval(hand, Note.HAND_PICKED)
    drawn = counted & ~hand & ~full
    column.note(drawn & (moments.n == 1), Note.ONE_UNIT)
    has_interval = np.isfinite(column.low) & np.isfinite(column.high)
    unbounded = (column.notes & Note.UNBOUNDED) > 0
    column.note(drawn & (moments.n > 1) & ~has_interval & ~unbounded, Note.NO_VARIATION)
    own = moments.ratio if way == "share" else own_cv(moments)
    column.note(drawn & has_interval & too_few(way, moments.n, own), Note.FEW)
    undefined = ~np.isfinite(column.value)
    column.mark(undefined & choice.has, UNKNOWN, Note.NO_BEARING)
    column.mark(undefined & ~choice.has, UNKNOWN, Note.NO_COUNT)


def copied(column: FigureColumn, name: str) -> FigureColumn:
    """Give a copy of a column under another name."""
    copy = column.kept(np.ones(len(column), dtype=np.bool_))
    copy.name = name
    return copy


def shifted(column: FigureColumn) -> FigureColumn:
    """Give the column with the entries of the season that follows each cell."""
    order = np.minimum(np.arange(len(column)) + 1, max(len(column) - 1, 0))
    moved = copied(column, column.name)
    for numbers in ENTRIES:
        setattr(moved, numbers, getattr(column, numbers)[order])
    moved.on_samples = tuple((cell - 1, sample) for cell, sample in column.on_samples)
    return moved


def per_metre_column(per_vine: FigureColumn, name: str, gathered: Gathered, basis: str) -> FigureColumn:
    """Give a figure per vine as one per metre of canopy, or of row where no training is recorded."""
    column = copied(per_vine, name)
    canopy, kind = gathered.canopy_m[column.cell], gathered.canopy_kind[column.cell]
    with np.errstate(divide="ignore", invalid="ignore"):
        column.value, column.low, column.high = column.value / canopy, column.low / canopy, column.high / canopy
        column.spread = column.spread / canopy
    column.basis = basis
    column.on_canopy = True
    has_number = np.isfinite(per_vine.value)
    column.note(has_number & (kind == ON_ROW), Note.PER_ROW)
    column.mark(has_number & (kind == WITHOUT_CANOPY), UNKNOWN, Note.NO_ROW_CANOPY)
    column.mark(has_number & (kind == WITHOUT_SPACING), UNKNOWN, Note.NO_SPACING)
    return column
