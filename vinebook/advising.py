"""What a book is asked for advice on: nodes to keep, the crop to come, where the fruit sits; gathered, then judged."""

from __future__ import annotations

import dataclasses
from contextlib import suppress
from typing import TYPE_CHECKING

from vinebook.errors import DatabaseError, WordsError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable, Sequence

    from vinebook.advice.crop_model import Backtest, CropAnswer, CropWishes
    from vinebook.advice.fruit_model import Fruitfulness
    from vinebook.advice.nodes_model import NodesToKeep, Wishes
    from vinebook.records.book import Book


def nodes_to_keep(book: Book, block: str, season: int, wishes: Wishes | None = None) -> NodesToKeep:
    """Give what a block's record and the published ways say of how many nodes to keep; the person decides.

    Parameters
    ----------
    book : an open book.
    block : block code.
    season : season that the nodes are for; its harvest is still to come.
    wishes : shoots, yield, formula, rule and level that a person asks for; names may be shortened.

    Raises
    ------
    WordsError : no such block, formula or rule.
    AdviceError : the season is over, the block has ended, or the record lacks what was asked for.
    """
    from vinebook.advice.bands import judge
    from vinebook.advice.nodes_model import Wishes as NoWishes
    from vinebook.advice.nodes_to_keep import nodes_to_keep as answer
    from vinebook.seasons.history import block_history, block_number, judging_context
    from vinebook.seasons.pruning_facts import pruning_facts

    asked = full_names(wishes or NoWishes())
    with book.reading() as connection:
        number = block_number(connection, block)
        told = block_history(connection, block)
        context = judging_context(connection, [number])
        facts = pruning_facts(connection, number, block, season)
    judged = dataclasses.replace(told, figures=tuple(judge(told.figures, context)))
    return answer(judged, facts, context.of(block), asked)


def crop_to_come(
    book: Book,
    block: str,
    season: int,
    *,
    on: dt.date | None = None,
    wishes: CropWishes | None = None,
    given_to: str = "",
    level: int = 80,
    by: str = "",
) -> CropAnswer:
    """Give the crop to come by what was counted up to a day; it is recorded only when it is given to somebody.

    Parameters
    ----------
    book : an open book.
    block, season : block code, harvest year.
    on : day of the estimate; today where None. Of a closed harvest None gives the estimates given, beside what came.
    wishes : stage, growth factor and share picked that a person asks for.
    given_to : to whom it is given; a crop_estimate is recorded then.
    level : coverage of the interval that is recorded, in percent: 80 or 95.
    by : who gives it.

    Raises
    ------
    WordsError : no such block, or nothing of it lies near that season.
    AdviceError : the counts do not make an estimate, the season is over, or one was given to the same that day.
    FindingsError : the estimate cannot be kept as it is: the name, say.
    """
    from vinebook.advice.crop_asked import crop_asked
    from vinebook.advice.crop_given import crop_answer, estimate_texts
    from vinebook.intake.typed import add_record
    from vinebook.seasons.crop_facts import crop_facts, today

    with book.reading() as connection:
        crops, facts = crop_facts(connection, block, season, on or today())
        estimate = crop_asked(facts, wishes, crops.moments, is_day_named=on is not None, is_given=bool(given_to))
    if given_to and estimate is not None:
        add_record(book, "crop_estimate", estimate_texts(facts, estimate, level, given_to), by=by)
        # It is kept; that the book cannot be reached any more is no reason to say otherwise.
        with suppress(DatabaseError), book.reading() as connection:
            _, facts = crop_facts(connection, block, season, estimate.on)
    return crop_answer(facts, estimate)


def crop_backtest(
    book: Book, blocks: Sequence[str] = (), *, progress: Callable[[int, int], None] | None = None
) -> Backtest:
    """Give how estimates of the crop would have done, each made with only what the book held on its day.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; none takes all. History comes from the whole book.
    progress : told how many of how many are done.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.advice.crop_backtest import backtest
    from vinebook.seasons.crop_facts import CropBook

    with book.reading() as connection:
        crops = CropBook(connection)
        moments, counts = crops.moments(blocks)
        past = crops.past()
    return backtest(moments, counts, past, progress)


def fruitfulness(book: Book, block: str, *, seasons: Sequence[int] = (), nodes: float | None = None) -> Fruitfulness:
    """Give where the fruit sits on a block's vines: by node position and bearer, spur against cane, before and after.

    Parameters
    ----------
    book : an open book.
    block : block code.
    seasons : harvest years to look at; none takes all.
    nodes : count nodes of a vine to lay either way; the latest count where None.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.advice.bands import judge
    from vinebook.advice.fruitfulness import fruitfulness as answer
    from vinebook.seasons.node_facts import fruit_facts

    with book.reading() as connection:
        facts = fruit_facts(connection, block, seasons)
    judged = dataclasses.replace(facts.history, figures=tuple(judge(facts.history.figures, facts.context)))
    return answer(judged, facts.tallies, facts.peers, seasons=seasons, nodes=nodes)


def full_names(wishes: Wishes) -> Wishes:
    """Give wishes with the full names of the formula and the rule that a person may have shortened.

    Raises
    ------
    WordsError : no such formula or rule.
    """
    from vinebook.advice.pruning_formulas import FORMULAS, TYPES
    from vinebook.formulas.buds import INJURY_RULES

    if wishes.formula is not None:
        names = {**{name: name for name in FORMULAS}, **TYPES}
        wishes = dataclasses.replace(
            wishes, formula=names[_named(wishes.formula, names, "formula of balanced pruning")]
        )
    if wishes.bud_injury_rule is not None:
        rule = _named(wishes.bud_injury_rule, INJURY_RULES, "rule for dead buds")
        wishes = dataclasses.replace(wishes, bud_injury_rule=rule)
    return wishes


def _named(given: str, names: Iterable[str], what: str) -> str:
    """Give the one name that a person's word stands for: the name itself, or the only one that begins so."""
    from vinebook.records.nearest import one_of

    def folded(name: str) -> str:
        return name.casefold().replace(" ", "").replace("_", "").replace("-", "")

    known = list(names)
    same = [name for name in known if folded(name) == folded(given)]
    begun = same or [name for name in known if folded(given) and folded(name).startswith(folded(given))]
    if len(begun) == 1:
        return begun[0]
    if begun:
        raise WordsError(f"{given!r} is more than one {what}", f"one of: {', '.join(begun)}")
    raise WordsError(f"{given!r} is not a {what}", one_of(given, known))
