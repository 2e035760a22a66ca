"""What is to be known of an estimate of the crop, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.formulas.growth import days_off_lag_phase

if TYPE_CHECKING:
    from vinebook.advice.crop_history import Past
    from vinebook.seasons.crop_model import CropCounts, Disturbance, Measured, Stage

WHAT_WORDS = {
    "cluster_thinning": "clusters were thinned",
    "shoot_thinning": "shoots were thinned",
    "frost": "frost struck",
    "hail": "hail struck",
    "disease": "disease struck",
    "drought": "drought struck",
    "heat": "heat struck",
    "birds": "birds ate",
    "smoke": "smoke came",
    "other": "something struck",
}
THINNINGS = ("cluster_thinning", "shoot_thinning")
RULE_WORDS = {
    "lag_phase": "2, the rule for lag phase (Price, Oregon)",
    "veraison": "1.5, common practice, no source",
}


def plural(n: int, what: str) -> str:
    """Give a number with its noun."""
    return f"{n:,} {what}" if n == 1 else f"{n:,} {what}s"


def after(counts: CropCounts) -> list[Disturbance]:
    """Give the disturbances between the count of clusters and the day of the estimate."""
    counted = counts.clusters.on if counts.clusters is not None else None
    return [one for one in counts.disturbances if one.on <= counts.on and (counted is None or one.on > counted)]


def in_words(one: Disturbance) -> str:
    """Give a disturbance in words with its date and the share that was hit."""
    share = "" if one.share_hit_percent is None else f" {one.share_hit_percent:g} % of the block"
    return f"{WHAT_WORDS.get(one.what, one.what)}{share} on {one.on}"


def disturbance_notes(counts: CropCounts, clusters: Measured | None, estimate_t: float) -> list[str]:
    """Say what thinning and events after the count do to an estimate.

    Parameters
    ----------
    counts : the counts.
    clusters : the count of clusters; None where past seasons stand in for it.
    estimate_t : the estimate.
    """
    found = []
    again = "the estimate is too high by what was cut; count again after thinning"
    for one in after(counts):
        if one.what in THINNINGS:
            if clusters is None:
                found.append(f"{in_words(one)}: past seasons do not know of it, so the estimate may be too high")
            else:
                found.append(f"{in_words(one)}, after the count of {clusters.on}: {again}")
        else:
            loss = ""
            if one.share_hit_percent:
                lost = estimate_t * one.share_hit_percent / 100
                loss = f"; were all of that fruit lost, {lost:.2g} t less"
            when = "" if clusters is None else f", after the count of {clusters.on}"
            found.append(f"{in_words(one)}{when}: it is not in the estimate{loss}")
    return found


def factor_notes(
    factor: Past, counts: CropCounts, stage: Stage, days: int | None, *, given: float | None, late: int
) -> list[str]:
    """Say where the growth factor comes from when it is not this block's own, and whether the lots were cut in time.

    Parameters
    ----------
    factor : what past seasons say of it.
    counts : the counts.
    stage : lag_phase or veraison.
    days : days from bloom to the weighing.
    given : factor that a person named.
    late : days by which a weighing may lie off the past ones.
    """
    found = []
    if not factor.n:
        source = "its spread alone" if given is not None else RULE_WORDS[stage]
        found.append(
            f"no season of the book has weights {_at(stage)} and at harvest by {counts.on}: the factor takes {source}, "
            "with a wide interval; keep both weights each year"
        )
    elif factor.cultivars and given is None:
        found.append(
            f"the factor is that of another cultivar ({', '.join(factor.cultivars)}): none of {counts.cultivar} has "
            f"weights {_at(stage)} and at harvest; factors differ by cultivar"
        )
    elif not factor.own_seasons and given is None:
        found.append(f"the factor is that of other blocks of {counts.cultivar}: this block has none yet")
    if factor.days is not None and days is not None:
        low, high = factor.days
        when = f"weighed {days} days after bloom, the past ones {low} to {high}"
        if days > high + late:
            found.append(f"{when}: clusters are further on, so the estimate is likely too high")
        elif days < low - late:
            found.append(f"{when}: clusters will still grow more, so the estimate is likely too low")
    elif days is not None and stage == "lag_phase" and (off := float(days_off_lag_phase(days))):
        when = f"weighed {days} days after bloom, lag phase lies at 50 to 55 (Price, Oregon)"
        found.append(f"{when}: the estimate is likely too {'high' if off > 0 else 'low'}")
    return found


def interval_note(words: str, whose: str, seasons: int) -> str:
    """Say that the interval comes from past estimates."""
    return f"{words}: the interval is the spread of {whose} against the picks, {plural(seasons, 'season')}"


def _at(stage: str) -> str:
    return "at lag phase" if stage == "lag_phase" else "at veraison"
