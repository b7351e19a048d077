"""Reading and writing the round file: every problem at once, each with its path and a plain sentence.

A file that has a problem of form (an unknown key, a word where a number belongs) would normally hide its
problems of meaning (a size that is not there), because the second kind is looked for in the objects that
the first kind keeps from being built. So the reader takes the malformed pieces out, builds what is left,
and looks for both.
"""

from __future__ import annotations

import copy
import itertools
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError

from testround.kernel.problems import MOST_TOLD, InputProblems, Problem, told_of
from testround.kernel.round import (
    KEY_PATTERN,
    Candidate,
    Entry,
    Pattern,
    Round,
    RoundPlan,
    Swatch,
    Tester,
)
from testround.kernel.sheet import check_pattern
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop

# Megabytes are counted in thousands, as file managers do.
MOST_BYTES = 40_000_000
ZIP_SIGNATURE = b"PK\x03\x04"
# Far more than any part of the format has, so that a file of another kind, or a hostile one, costs little.
DEEPEST_NESTING = 40
MOST_KEYS = 2_000
MOST_ENTRIES = 50_000
MOST_MALFORMED = 20_000
"""With more wrong values than this, a file is not looked through: it is no round file, or all of one mistake."""

Location = tuple[str | int, ...]


class RoundFileError(InputProblems):
    """The input is not a valid round file (or pattern); ``problems`` says all that is wrong with it."""


# --- reading ------------------------------------------------------------------------------------------------


def read_round(data: bytes, *, most_bytes: int = MOST_BYTES) -> Round:
    """The round that a round file describes.

    Parameters
    ----------
    data : bytes
        The whole file, UTF-8 JSON.
    most_bytes : int
        A larger file is refused unread.

    Raises
    ------
    RoundFileError
        With every problem of form and of meaning.
    """
    document = _parse(data, most_bytes)
    if not isinstance(document, dict):
        _refuse(
            Problem("", _("a round file is one JSON object; this is {named}").format(named=_named(document)))
        )
    try:
        round_ = Round.model_validate_json(json.dumps(document), strict=True)
    except ValidationError as error:
        raise RoundFileError(told_of(_all_problems(Round, document, error))) from None
    if problems := check_round(round_):
        raise RoundFileError(problems)
    return round_


def read_pattern(data: bytes, *, most_bytes: int = MOST_BYTES) -> Pattern:
    """The pattern in a file that holds one: a ``pattern`` object alone, or a whole round file.

    Of a round file only the pattern is looked at.

    Raises
    ------
    RoundFileError
        With every problem of form and of meaning.
    """
    document = _parse(data, most_bytes)
    if not isinstance(document, dict):
        _refuse(
            Problem("", _("a pattern is one JSON object; this is {named}").format(named=_named(document)))
        )
    return pattern_in(document, "pattern") if "pattern" in document else pattern_in(document)


def pattern_in(document: Mapping[str, Any], inside: str = "") -> Pattern:
    """The pattern that an object of JSON describes, or the object that it holds under the key ``inside``.

    Raises
    ------
    RoundFileError
        With every problem of form and of meaning, each under that key.
    """
    inner = document[inside] if inside else document
    if not isinstance(inner, dict):
        _refuse(Problem(inside, _("must be an object; got {named}").format(named=_named(inner))))
    try:
        pattern = Pattern.model_validate_json(json.dumps(inner), strict=True)
        problems = check_pattern(pattern)
    except ValidationError as error:
        problems = told_of(_all_problems(Pattern, inner, error))
    if problems:
        raise RoundFileError(problem.under(inside) if inside else problem for problem in problems)
    return pattern


def _refuse(*problems: Problem) -> NoReturn:
    raise RoundFileError(problems)


def _parse(data: bytes, most_bytes: int) -> Any:
    if not data.strip():
        _refuse(Problem("", _("the file is empty; export or write a round file first")))
    if len(data) > most_bytes:
        _refuse(
            Problem(
                "",
                _("the file has {data} MB; at most {most_bytes} MB are taken").format(
                    data=f"{len(data) / 1e6:.0f}", most_bytes=f"{most_bytes / 1e6:.0f}"
                ),
            )
        )
    if data.startswith(ZIP_SIGNATURE):
        _refuse(Problem("", _("this is a ZIP archive; take the JSON file out of it and give that")))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        _refuse(
            Problem(
                "",
                _("the file is not UTF-8 text (byte {start}); save it as UTF-8 JSON").format(
                    start=error.start
                ),
            )
        )
    repeated: list[str] = []

    def object_of(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) != len(pairs):
            repeated.extend(key for key, times in Counter(key for key, _ in pairs).items() if times > 1)
        return made

    try:
        document = json.loads(text, object_pairs_hook=object_of, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        _refuse(
            Problem(
                "",
                _("this is not JSON: {msg} at line {lineno}, column {colno}").format(
                    msg=error.msg, lineno=error.lineno, colno=error.colno
                ),
            )
        )
    except RecursionError:
        _refuse(Problem("", _("this is not a round file: its values are nested far too deeply")))
    except ValueError as error:
        _refuse(
            Problem("", str(error) if isinstance(error, _NotANumber) else _("a number in it is far too long"))
        )
    if repeated:
        _refuse(
            *(
                Problem("", _("the key {key} stands twice in one object; keep one").format(key=f"{key!r}"))
                for key in repeated[:MOST_TOLD]
            )
        )
    _check_shape(document)
    return document


def _check_shape(document: Any) -> None:
    """Refuse what is nested deeper or is longer than anything in a round file."""
    # Not by recursion, which a deep one would exhaust.
    waiting = [(document, 1)] if isinstance(document, dict | list) else []
    while waiting:
        node, depth = waiting.pop()
        if depth > DEEPEST_NESTING:
            _refuse(Problem("", _("this is not a round file: its values are nested far too deeply")))
        if isinstance(node, dict):
            if len(node) > MOST_KEYS:
                said = _("an object in it has {n} keys; no object of a round file has more than {most}")
                _refuse(Problem("", said.format(n=len(node), most=MOST_KEYS)))
            inside: Iterable[Any] = node.values()
        else:
            if len(node) > MOST_ENTRIES:
                said = _("a list in it has {n} entries; no list of a round file has more than {most}")
                _refuse(Problem("", said.format(n=len(node), most=MOST_ENTRIES)))
            inside = node
        waiting.extend((child, depth + 1) for child in inside if isinstance(child, dict | list))


class _NotANumber(ValueError):
    pass


def _no_constant(word: str) -> NoReturn:
    raise _NotANumber(
        _("{word} is not a number; leave the entry out where nothing was measured").format(word=word)
    )


# --- problems of form ---------------------------------------------------------------------------------------


def path_of(location: Iterable[str | int]) -> str:
    """The location of a value as it is written in a problem: ``testers[3].swatches[0].colour``."""
    path = ""
    for step in location:
        if isinstance(step, int):
            path += f"[{step}]"
        elif step != "[key]":
            path += f".{step}" if path else step
    return path


def problems_of(error: ValidationError) -> list[Problem]:
    """What a model said of an input, in plain sentences."""
    return [Problem(path_of(item["loc"]), _sentence(item)) for item in _told(error)]


def _told(error: ValidationError) -> list[Any]:
    """The model's errors, without "too short" for a list whose entries are all there and all malformed."""
    return [
        item
        for item in error.errors(include_url=False)
        if not (item["type"] == "too_short" and len(item["input"]) >= item["ctx"]["min_length"])
    ]


def _named(value: Any) -> str:
    """A value as a sentence names it; a long one is cut."""
    if value is None:
        return _("nothing (null)")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return _("an object")
    if isinstance(value, list | tuple):
        return _("a list")
    shown = repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "…"


def _figure(limit: float) -> str:
    return f"{limit:,.0f}" if float(limit).is_integer() else f"{limit:g}"


def _sentence(error: Any) -> str:
    kind: str = error["type"]
    context: Mapping[str, Any] = error.get("ctx", {})
    got = _named(error["input"])
    match kind:
        case "extra_forbidden":
            return _("unknown")
        case "missing":
            return _("missing; it has to be given")
        case "greater_than":
            return _("must be above {figure}; got {got}").format(figure=_figure(context["gt"]), got=got)
        case "greater_than_equal":
            return _("must be at least {figure}; got {got}").format(figure=_figure(context["ge"]), got=got)
        case "less_than":
            return _("must be below {figure}; got {got}").format(figure=_figure(context["lt"]), got=got)
        case "less_than_equal":
            return _("must be at most {figure}; got {got}").format(figure=_figure(context["le"]), got=got)
        case "finite_number":
            return _("must be a finite number")
        case "float_type" | "float_parsing":
            return _("must be a number; got {got}").format(got=got)
        case "int_type" | "int_parsing" | "int_from_float":
            return _("must be a whole number; got {got}").format(got=got)
        case "string_type":
            return _("must be text; got {got}").format(got=got)
        case "bool_type":
            return _("must be true or false; got {got}").format(got=got)
        case "list_type" | "tuple_type":
            return _("must be a list; got {got}").format(got=got)
        case "model_type" | "dict_type" | "model_attributes_type":
            return _("must be an object; got {got}").format(got=got)
        case "literal_error" | "enum":
            # Translators: {these} are words of the file format, which stay English, as in "'knit' or 'crochet'".
            return _("must be {these}; got {got}").format(these=context["expected"], got=got)
        case "string_too_short":
            return _("is empty; write something or leave it out")
        case "string_too_long":
            return _("has more than {most} characters; shorten it").format(most=context["max_length"])
        case "too_short":
            return _("needs at least {least} entry").format(least=context["min_length"])
        case "too_long":
            return _("has more than {most} entries").format(most=context["max_length"])
        case "string_pattern_mismatch" if context.get("pattern") == KEY_PATTERN:
            return _("must be lower-case words joined by _, as in back_sts; got {got}").format(got=got)
        case "string_pattern_mismatch":
            return _("must be made of letters, digits, and . _ - inside; got {got}").format(got=got)
        case "json_invalid":
            return _("the text holds half of a character (a lone surrogate); write that word anew")
        case "value_error":
            return str(context["error"])
        case _:
            message: str = error["msg"]
            # Translators: {said} is what the reader of JSON says, in English.
            return _("{said}; got {got}").format(said=message[0].lower() + message[1:], got=got)


class _TakenOut:
    """Stands where a malformed list entry stood, so that the others keep their positions."""


_TAKEN_OUT = _TakenOut()
_ANY_GAUGE: dict[str, Any] = {"label": "any", "stitches": 20, "rows": 28}
# With these in place of what is malformed or missing, the rest of the object can still be looked at.
_STAND_INS: dict[Location, Any] = {
    ("format",): "testround/round",
    ("version",): 1,
    ("title",): "untitled",
    ("edition",): "0",
    ("craft",): "knit",
    ("pattern", "title"): "untitled",
    ("pattern", "edition"): "0",
    ("pattern", "craft"): "knit",
    ("round",): {"title": "untitled"},
    ("round", "title"): "untitled",
}


def _all_problems(model: type[BaseModel], document: dict[str, Any], error: ValidationError) -> list[Problem]:
    """The problems of form, and those of meaning in what is left when the malformed pieces are taken out."""
    if error.error_count() > MOST_MALFORMED:
        said = _(
            "{n} values in it are not as a round file has them; is it one? docs/round-file.md says what it holds"
        )
        return [Problem("", said.format(n=error.error_count()))]
    problems = problems_of(error)
    if len(problems) > MOST_TOLD:
        return problems
    rest = copy.deepcopy(document)
    taken_names: set[str] = set()
    positions: dict[Location, list[int]] = {}
    for _turn in range(8):
        for item in _told(error):
            if not _take_out(rest, _restored(item["loc"], positions), item["type"], taken_names):
                return problems
        positions = {}
        try:
            built = model.model_validate_json(json.dumps(_squeezed(rest, (), positions)), strict=True)
        except ValidationError as again:
            error = again
            continue
        found = check_round(built) if isinstance(built, Round) else check_pattern(built)  # type: ignore[arg-type]
        malformed = {place for problem in problems for place in _around(problem.path)}
        for problem in found:
            path = path_of(_restored(_steps(problem.path), positions))
            # What names a piece that was taken out, or misses what was taken out of it, says nothing new.
            if taken_names.intersection(re.findall(r"[\w.-]+", problem.sentence)):
                continue
            if path in malformed:
                continue
            problems.append(Problem(path, problem.sentence))
        return problems
    return problems


def _around(path: str) -> Iterator[str]:
    """A path and those of everything that holds what it names."""
    yield path
    for found in re.finditer(r"[.\[]", path):
        yield path[: found.start()]


def _take_out(document: Any, location: Location, kind: str, taken_names: set[str]) -> bool:
    """Take the malformed piece out of the document. False where nothing can be built without it."""
    where = tuple(step for step in location if step != "[key]")
    if where in _STAND_INS:
        _parent(document, where)[where[-1]] = copy.deepcopy(_STAND_INS[where])
        return True
    if kind == "missing":
        where = where[:-1]
    while where:
        parent = _parent(document, where)
        step = where[-1]
        if isinstance(parent, list) and isinstance(step, int) and step < len(parent):
            item = parent[step]
            if isinstance(item, dict):
                taken_names.update(str(item[name]) for name in ("key", "id") if name in item)
            # A pattern cannot be without a gauge, and nothing in it computed without its key.
            is_gauge = where[-2:-1] == ("gauges",) and isinstance(item, dict)
            parent[step] = {**_ANY_GAUGE, "key": _key_or(item, f"gauge{step}")} if is_gauge else _TAKEN_OUT
            return True
        if isinstance(parent, dict) and step in parent:
            if where in (("pattern",), ("round",)):
                return False
            # The next pass takes out the object around it if that cannot be without it.
            del parent[step]
            return True
        where = where[:-1]
    return False


def _key_or(item: dict[str, Any], otherwise: str) -> str:
    key = item.get("key")
    return key if isinstance(key, str) and re.fullmatch(KEY_PATTERN, key) else otherwise


def _parent(document: Any, where: Location) -> Any:
    for step in where[:-1]:
        try:
            document = document[step]
        except (KeyError, IndexError, TypeError):
            return None
    return document


def _squeezed(node: Any, where: Location, positions: dict[Location, list[int]]) -> Any:
    """The document without what was taken out; ``positions`` keeps where the remaining entries stood."""
    if isinstance(node, dict):
        return {key: _squeezed(value, (*where, key), positions) for key, value in node.items()}
    if isinstance(node, list):
        kept = [position for position, item in enumerate(node) if item is not _TAKEN_OUT]
        if len(kept) != len(node):
            positions[where] = kept
        return [_squeezed(node[position], (*where, new), positions) for new, position in enumerate(kept)]
    return node


def _restored(location: Iterable[str | int], positions: Mapping[Location, list[int]]) -> Location:
    """A location in the squeezed document as it was in the file."""
    squeezed: Location = ()
    restored: Location = ()
    for step in location:
        if isinstance(step, int) and squeezed in positions:
            restored = (*restored, positions[squeezed][step])
        else:
            restored = (*restored, step)
        squeezed = (*squeezed, step)
    return restored


def _steps(path: str) -> Location:
    return tuple(int(index) if index else name for index, name in re.findall(r"\[(\d+)\]|([^.\[\]]+)", path))


# --- problems of meaning ------------------------------------------------------------------------------------


def check_round(round_: Round) -> list[Problem]:
    """What is wrong with a well-formed round: names that lead nowhere, things said twice, halves of pairs."""
    return told_of(_round_problems(round_))


def _round_problems(round_: Round) -> Iterator[Problem]:
    pattern = round_.pattern
    yield from (problem.under("pattern") for problem in check_pattern(pattern))
    yield from plan_and_candidate_problems(round_)
    names = _Names(round_)
    for i, tester in enumerate(round_.testers):
        yield from (problem.under(f"testers[{i}]") for problem in _tester_problems(tester, names))
    yield from _said_twice((person.id for person in round_.testers), "testers[{}].id")
    photo_hashes: dict[str, str] = {}
    for i, tester in enumerate(round_.testers):
        for j, photo in enumerate(tester.photos):
            if photo_hashes.setdefault(photo.name, photo.sha256) != photo.sha256:
                yield Problem(
                    f"testers[{i}].photos[{j}].name",
                    _("{name} names two different photos; rename one").format(name=photo.name),
                )


def plan_and_candidate_problems(round_: Round) -> Iterator[Problem]:
    """What is wrong with a round's plan and its candidates, the pattern being what it is."""
    yield from (problem.under("round") for problem in _plan_problems(round_.round, round_.pattern))
    names = _Names(round_)
    for i, candidate in enumerate(round_.candidates):
        yield from (problem.under(f"candidates[{i}]") for problem in _candidate_problems(candidate, names))
    yield from _said_twice((person.id for person in round_.candidates), "candidates[{}].id")
    testers = {tester.id for tester in round_.testers}
    for i, candidate in enumerate(round_.candidates):
        if candidate.id in testers:
            yield Problem(
                f"candidates[{i}].id",
                _("{id} already holds a place; list them among the testers only").format(id=candidate.id),
            )


KINDS = {
    "sizes": gettext_noop("size"),
    "measures": gettext_noop("measure"),
    "gauges": gettext_noop("gauge"),
    "numbers": gettext_noop("number"),
    "dimensions": gettext_noop("dimension"),
    "parts": gettext_noop("part"),
    "yarns": gettext_noop("yarn"),
}


class _Names:
    """Everything that a tester or candidate may refer to, gathered once."""

    def __init__(self, round_: Round) -> None:
        pattern = round_.pattern
        self.graded = pattern.is_graded
        self.sizes = list(pattern.sizes)
        self.measures = [measure.key for measure in pattern.measures]
        self.gauges = [gauge.key for gauge in pattern.gauges]
        self.numbers = [number.key for number in pattern.numbers]
        self.dimensions = [dimension.key for dimension in pattern.dimensions]
        self.parts = [part.key for part in pattern.parts]
        self.yarns = [yarn.key for yarn in round_.round.yarns]
        self.known = {
            name: frozenset(getattr(self, name))
            for name in ("sizes", "measures", "gauges", "numbers", "dimensions", "parts", "yarns")
        }

    def unless_known(self, kind: str, name: str, path: str) -> Iterator[Problem]:
        if name not in self.known[kind]:
            yield Problem(path, _no_such(_(KINDS[kind]), name, getattr(self, kind)))


def _no_such(kind: str, name: str, known: list[str]) -> str:
    listed = ", ".join(known[:12]) + (" …" if len(known) > 12 else "")
    # Translators: {kind} is a word of the file format, such as "size" or "gauge".
    if known:
        return _("there is no {kind} {name}; there are {known}").format(kind=kind, name=name, known=listed)
    return _("there is no {kind} {name}; the file has no {kind} at all").format(kind=kind, name=name)


def _said_twice(names: Iterable[str], path: str, *, mend: str = "") -> Iterator[Problem]:
    first: dict[str, int] = {}
    for position, name in enumerate(names):
        if first.setdefault(name, position) != position:
            yield Problem(
                path.format(position),
                _("{name} stands twice; {mend}").format(name=name, mend=mend or _("keep one or rename it")),
            )


def _plan_problems(plan: RoundPlan, pattern: Pattern) -> Iterator[Problem]:
    dates = [
        (name, date)
        for name, date in (
            ("opens", plan.opens),
            ("swatches_due", plan.swatches_due),
            ("closes", plan.closes),
        )
        if date is not None
    ]
    for (earlier, first), (later, second) in itertools.pairwise(dates):
        if second < first:
            yield Problem(
                later,
                _("{second} is before {earlier} ({first}); the dates go in order").format(
                    second=second, earlier=earlier, first=first
                ),
            )
    yield from _said_twice((yarn.key for yarn in plan.yarns), "yarns[{}].key")
    if plan.places is None:
        return
    sizes = list(pattern.sizes)
    least, most = plan.places.least or {}, plan.places.most or {}
    for word, wanted in (("least", least), ("most", most)):
        for size in wanted:
            if size not in pattern.sizes:
                yield Problem(f"places.{word}.{size}", _no_such("size", size, sizes))
    for size, count in least.items():
        if size in most and most[size] < count:
            yield Problem(
                f"places.most.{size}",
                _("{most} is below the least, {count}").format(most=most[size], count=count),
            )


def _candidate_problems(candidate: Candidate, names: _Names) -> Iterator[Problem]:
    for key in candidate.measures:
        yield from names.unless_known("measures", key, f"measures.{key}")
    for i, size in enumerate(candidate.wishes):
        yield from names.unless_known("sizes", size, f"wishes[{i}]")
    for i, key in enumerate(candidate.yarns):
        yield from names.unless_known("yarns", key, f"yarns[{i}]")
    yield from _said_twice(candidate.wishes, "wishes[{}]")


def _tester_problems(tester: Tester, names: _Names) -> Iterator[Problem]:
    if tester.size is not None:
        if names.graded:
            yield from names.unless_known("sizes", tester.size, "size")
        else:
            yield Problem("size", _("a made-to-measure pattern has no sizes; write null"))
    for key in tester.measures:
        yield from names.unless_known("measures", key, f"measures.{key}")
    if tester.worked_out and names.graded:
        yield Problem("worked_out", _("a pattern in sizes has its numbers by size; leave this out"))
    for key in tester.worked_out:
        known = [*names.numbers, *names.measures]
        if key not in known:
            yield Problem(f"worked_out.{key}", _no_such(_("number or measure"), key, known))
    for i, swatch in enumerate(tester.swatches):
        yield from names.unless_known("gauges", swatch.gauge, f"swatches[{i}].gauge")
        yield from (problem.under(f"swatches[{i}]") for problem in swatch_problems(swatch))
    for i, count in enumerate(tester.counts):
        yield from names.unless_known("numbers", count.number, f"counts[{i}].number")
    yield from _said_twice((count.number for count in tester.counts), "counts[{}].number")
    for i, finished in enumerate(tester.finished):
        yield from names.unless_known("dimensions", finished.dimension, f"finished[{i}].dimension")
    readings = (f"{finished.dimension} ({finished.state})" for finished in tester.finished)
    yield from _said_twice(readings, "finished[{}]", mend=_("put its readings together in values"))
    for i, sitting in enumerate(tester.sittings):
        if sitting.part is not None:
            yield from names.unless_known("parts", sitting.part, f"sittings[{i}].part")
    for i, fit in enumerate(tester.fit):
        yield from names.unless_known("dimensions", fit.dimension, f"fit[{i}].dimension")
    used = tester.yarn_used
    if used is not None and used.metres is None and used.grams is None:
        yield Problem("yarn_used", _("says nothing; give metres or grams"))


def swatch_problems(swatch: Swatch) -> Iterator[Problem]:
    """A count needs the length it was counted over, and the other way round; one pair at least."""
    pairs = (("stitches", "width"), ("rows", "height"))
    given = 0
    for count, length in pairs:
        has_count, has_length = getattr(swatch, count) is not None, getattr(swatch, length) is not None
        given += has_count and has_length
        if has_count and not has_length:
            said = (
                _("missing; over what width were the stitches counted?")
                if count == "stitches"
                else _("missing; over what height were the rows counted?")
            )
            yield Problem(length, said)
        if has_length and not has_count:
            said = (
                _("missing; how many stitches are there over that width?")
                if count == "stitches"
                else _("missing; how many rows are there over that height?")
            )
            yield Problem(count, said)
    if not given and all(getattr(swatch, name) is None for pair in pairs for name in pair):
        yield Problem("", _("says nothing; give stitches with a width, rows with a height, or both"))


# --- writing ------------------------------------------------------------------------------------------------


def write_round(round_: Round) -> bytes:
    """The round file of a round: UTF-8 JSON, the same bytes for an equal round."""
    return (json.dumps(plain(round_), ensure_ascii=False, indent=2, allow_nan=False) + "\n").encode()


def plain(entry: Entry) -> dict[str, Any]:
    """An entry as plain JSON values, without the keys that say nothing; whole numbers without a point."""
    document: dict[str, Any] = _whole(entry.model_dump(mode="json", exclude_none=True))
    return document


def _whole(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _whole(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_whole(value) for value in node]
    if isinstance(node, float) and node.is_integer():
        return int(node)
    return node
