"""Numbers of an answer: named in a page, picked from what commands said, kept as CSV, written into the README.

In a page, `{jet.rules[rule=three-to-one].fuel_kg:.0f}` is the fuel that the command with output `out/jet` gave for one
rule: keys are separated by dots, and brackets choose from a list the entry with these values, or with this number in
the list. `{a - b:.0f}` is a difference; a share is written `{a:.1%}` and shown without its sign, and `{a:tens}` is
rounded to tens. What stands between `<!-- each derived.rules -->` and `<!-- end -->` is written for every entry of that
list, with its number in place of `#`.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from studies.declared import Expectation

_PLACE = re.compile(r"\{([a-z][^{}:]*?)(?::([^{}]*))?\}")
_STEP = re.compile(r"\.?([^.\[\]]+)|\[([^\]]*)\]")
_PAIRS = re.compile(r",(?=\w+=)")
_EACH = re.compile(r"<!-- each (\S+) -->\n(.*?)<!-- end -->\n", re.DOTALL)
_DIFFERENCE = " - "
TENS = "tens"
"""Form of a number that is rounded to tens, as heights are."""


@dataclass(frozen=True)
class Answer:
    """Numbers of a study by the paths that a page names them by."""

    numbers: Mapping[str, Any]

    @classmethod
    def from_csv(cls, path: Path) -> Answer:
        """Answer of a file."""
        with path.open(encoding="utf-8", newline="") as file:
            rows = csv.reader(line for line in file if not line.startswith("#"))
            return cls({name: json.loads(value) for name, value in list(rows)[1:]})

    def to_csv(self, path: Path) -> None:
        """Write it."""
        with path.open("w", encoding="utf-8", newline="") as file:
            file.write("# Written by python -m studies; named as in page.md, units in the names.\n")
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(("name", "value"))
            writer.writerows((name, json.dumps(value, ensure_ascii=False)) for name, value in self.numbers.items())

    def count(self, path: str) -> int:
        """How many entries of a list it has numbers of [-]."""
        of_list = re.compile(re.escape(path) + r"\[(\d+)\]")
        return len({found[1] for name in self.numbers if (found := of_list.match(name))})

    def value(self, expression: str) -> Any:
        """A number, or the difference of two; None where there is none.

        Raises
        ------
        KeyError
            The answer does not have it.
        """
        first, *rest = (self.numbers[path] for path in _paths(expression))
        if not rest:
            return first
        return None if first is None or rest[0] is None else first - rest[0]


def named_numbers(
    page: str, expected: Sequence[Expectation], answers: Mapping[str, Any], *, is_small: bool = False
) -> Iterator[tuple[str, Any]]:
    """Every number that a page or an expectation names, picked from the commands' answers.

    At reduced size a number that the page names may be missing, and one that is expected at full size only.

    Raises
    ------
    LookupError
        The answers have no such number.
    """
    of_lists = one_by_one(expected, lambda path: _length(answers, path))
    wanted = dict.fromkeys(paths_expected(of_lists, is_small=is_small))
    for path in wanted:
        yield path, picked(answers, path)
    for path in dict.fromkeys(paths_of(in_full(page, lambda path: _length(answers, path)))):
        if path in wanted:
            continue
        try:
            number = picked(answers, path)
        except LookupError:
            if not is_small:
                raise
        else:
            yield path, number


def in_full(page: str, count: Callable[[str], int]) -> str:
    """A page with what is said of each entry of a list written as often as the list has entries."""

    def repeated(match: re.Match[str]) -> str:
        return "".join(match[2].replace("[#]", f"[{place}]") for place in range(count(match[1])))

    return _EACH.sub(repeated, page)


def paths_of(page: str) -> list[str]:
    """Paths that a page in full names."""
    return [path for match in _PLACE.finditer(page) for path in _paths(match[1])]


def one_by_one(expected: Sequence[Expectation], count: Callable[[str], int]) -> tuple[Expectation, ...]:
    """What is expected, that of each entry of a list as often as the list has entries; of an empty list it is kept."""
    found: list[Expectation] = []
    for one in expected:
        places = [f"[{place}]" for place in range(count(one.each))] if one.each else []
        for place in places or ["[#]"]:
            right = one.right.replace("[#]", place) if isinstance(one.right, str) else one.right
            found.append(replace(one, left=one.left.replace("[#]", place), right=right, each=""))
    return tuple(found)


def paths_expected(expected: Sequence[Expectation], *, is_small: bool = False) -> list[str]:
    """Paths that expectations, one by one, name."""
    own = [one for one in expected if not (is_small and one.full_size_only)]
    return [path for one in own for side in (one.left, one.right) if isinstance(side, str) for path in _paths(side)]


def picked(answers: Mapping[str, Any], path: str) -> Any:
    """What a path leads to.

    Raises
    ------
    LookupError
        It leads nowhere, or to several entries of a list.
    """
    found: Any = answers
    for step in _STEP.finditer(path):
        key, chosen = step.groups()
        if chosen is None:
            if not isinstance(found, Mapping) or key not in found:
                raise LookupError(f"{path}: no {key}")
            found = found[key]
        elif chosen.isdigit():
            found = found[int(chosen)]
        else:
            pairs = [pair.partition("=") for pair in _PAIRS.split(chosen)]
            wanted = {key: value for key, _, value in pairs}
            entries = [entry for entry in found if all(_is(entry.get(k), v) for k, v in wanted.items())]
            if len(entries) != 1:
                raise LookupError(f"{path}: {len(entries)} entries with {chosen}")
            (found,) = entries
    return found


def with_numbers(page: str, answer: Answer) -> str:
    """A page with its numbers filled in; one that is missing shows as a dash."""

    def shown(match: re.Match[str]) -> str:
        try:
            return _shown(answer.value(match[1]), match[2] or "")
        except KeyError:
            return "–"

    return _PLACE.sub(shown, in_full(page, answer.count))


def missed(expected: Sequence[Expectation], answer: Answer, *, is_small: bool) -> list[str]:
    """What was expected and is not so [sentences]."""
    found: list[str] = []
    for one in one_by_one(expected, answer.count):
        if is_small and one.full_size_only:
            continue
        left = answer.value(one.left)
        right = answer.value(one.right) if isinstance(one.right, str) else one.right
        if not _holds(left, one.relation, right, one.within):
            found.append(f"not so: {one.says} ({one.left} = {left}, {one.relation} {right})")
    return found


def _length(answers: Mapping[str, Any], path: str) -> int:
    try:
        return len(picked(answers, path))
    except LookupError:
        return 0


def _holds(left: Any, relation: str, right: Any, within: float) -> bool:
    if relation == "is missing":
        return left is None
    if left is None or right is None or isinstance(left, bool) is not isinstance(right, bool):
        return False
    match relation:
        case "is":
            return bool(left == right)
        case "above":
            return bool(left > right)
        case "below":
            return bool(left < right)
        case "at least":
            return bool(left >= right)
        case "at most":
            return bool(left <= right)
        case "near":
            return abs(left - right) <= within
        case _:
            raise ValueError(f"no relation {relation!r}")


def _paths(expression: str) -> list[str]:
    return [part.strip() for part in expression.split(_DIFFERENCE)]


def _is(value: Any, wanted: str) -> bool:
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return abs(float(value) - float(wanted)) < 1e-6 * max(1.0, abs(float(value)))
        except ValueError:
            return False
    return str(value) == wanted


def _shown(value: Any, form: str) -> str:
    if value is None:
        return "–"
    if isinstance(value, str | list):
        return str(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    shown = f"{round(value, -1):.0f}" if form == TENS else format(value, form).removesuffix("%")
    return shown.replace("-", "−") if float(shown) else shown.lstrip("-+")
