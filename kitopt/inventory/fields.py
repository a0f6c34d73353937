"""What a value must be, as pydantic annotations that word their own complaint.

Every field says what it needs and gives an example, so that the message does not depend on which check failed.
The same annotations read text from CSV and typed values from TOML.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, cast

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from kitopt.files.faults import quoted
from kitopt.files.marks import Ambiguous
from kitopt.inventory import cells


def complaint(value: object, need: str, hint: str = "") -> PydanticCustomError:
    """Return the error that says what was found, what was needed and, where it can be guessed, what to write."""
    # through the context, because a value may hold braces
    return PydanticCustomError("need", "{text}", {"text": f"found {quoted(value)}, need {need}.{hint}"})


def two_readings(value: object, error: Ambiguous) -> PydanticCustomError:
    """Return the error that shows both readings of a number, each as it can be written without doubt."""
    text = (
        f"found {quoted(value)}, which may be {error.thousands} or {error.decimals}, and nothing else settles "
        f"whether its mark stands for thousands or decimals; write {error.thousands} or {error.decimals}."
    )
    return PydanticCustomError("need", "{text}", {"text": text})


def _answer(answers: Mapping[str, str], word: str) -> str:
    return f" {answers[word]}" if word in answers else ""


class Field:
    """Common part: the reading function runs before pydantic's own check of the type."""

    @property
    def needed(self) -> str:
        """What is needed, in words."""
        need = getattr(self, "need", "a value")
        return str(need() if callable(need) else need)

    def read(self, value: Any, decimal: str | None) -> Any:
        """Return the value, or raise the complaint."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def before(value: Any, info: core_schema.ValidationInfo[Any]) -> Any:
            context = cast("dict[str, str | None]", info.context or {})
            return self.read(value, context.get("decimal"))

        return core_schema.with_info_before_validator_function(before, handler(source))


@dataclass(frozen=True)
class Number(Field):
    """A number in a range.

    Attributes
    ----------
    what, such : str
        The quantity with its article, and examples.
    unit : str or None
        Unit in which the value is kept; None for a bare number, "share" for a fraction or percentage.
    above, least, most : float or None
        Open lower limit, closed lower limit, closed upper limit.
    whole : {"", "exact", "half-up", "cents"}
        Whether it must be whole, is rounded half up, or is turned into whole hundredths.
    """

    what: str
    such: str
    unit: str | None = None
    above: float | None = None
    least: float | None = None
    most: float | None = None
    whole: str = ""

    def need(self, too_large: bool = False) -> str:
        """Return what is needed, in words; the upper limit only where it matters."""
        if self.above is not None:
            limits = f" above {self.above:g}" + (f" and at most {self.most:,.10g}" if too_large else "")
        elif self.least is not None and self.most is not None and (too_large or self.most <= 100):
            limits = f" from {self.least:g} to {self.most:,.10g}"
        else:
            limits = "" if self.least is None else f" of at least {self.least:g}"
        return f"{self.what}{limits}, such as {self.such}"

    def read(self, value: Any, decimal: str | None) -> float | int:
        """Return the number, or raise the complaint."""
        try:
            number = self._number(value, decimal)
        except Ambiguous as error:
            raise two_readings(value, error) from None
        except ValueError:
            raise complaint(value, self.need()) from None
        if self.most is not None and number > self.most:
            raise complaint(value, self.need(too_large=True))
        if self._is_below(number):
            raise complaint(value, self.need())
        if self.whole == "exact":
            if number != int(number):
                raise complaint(value, f"a whole number: {self.need()}")
            return int(number)
        if self.whole:
            scaled = number * 100 if self.whole == "cents" else number
            # nine digits first, so that 2.5 that came out of a conversion as 2.4999999999 still rounds up
            number = int(Decimal(f"{scaled:.9g}").quantize(Decimal(1), ROUND_HALF_UP))
            if scaled and not number:
                # kilograms in a gram column
                hint = "; kilograms are written with their unit, such as 0.35 kg" if self.unit == "g" else ""
                raise complaint(value, f"more than what is rounded to 0: {self.need()}{hint}")
        return number

    def _is_below(self, number: float) -> bool:
        return (self.above is not None and number <= self.above) or (self.least is not None and number < self.least)

    def _number(self, value: Any, decimal: str | None) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise ValueError("not a number")
        if isinstance(value, str):
            if self.unit == "share":
                return cells.share(value, decimal)
            return cells.number(value, self.unit, decimal)
        # repr is checked like text: it knows nan and inf
        return cells.number(repr(value), None, ".")


@dataclass(frozen=True)
class Text(Field):
    """Text turned into a value by a function that raises ValueError.

    Attributes
    ----------
    reader : callable
        From str to the value.
    need : str
        What is needed, with an example.
    hint : callable
        From text that cannot be read to what is said beside: " Did you mean X?" or nothing.
    """

    reader: Callable[[str], Any]
    need: str
    hint: Callable[[str], str] = lambda text: ""

    def read(self, value: Any, decimal: str | None) -> Any:
        """Return the value, or raise the complaint."""
        if not isinstance(value, str):
            raise complaint(value, self.need)
        try:
            return self.reader(value)
        except ValueError:
            raise complaint(value, self.need, self.hint(value)) from None


@dataclass(frozen=True)
class OneOf(Field):
    """One of a few words."""

    choices: tuple[str, ...]
    also: Mapping[str, str] = field(default_factory=dict, hash=False)
    """Everyday words, and the choice that each stands for."""
    answers: Mapping[str, str] = field(default_factory=dict, hash=False)
    """Words that may mean several things, and what to write instead."""

    @property
    def need(self) -> str:
        """What is needed, in words."""
        return f"one of {', '.join(self.choices)}"

    def read(self, value: Any, decimal: str | None) -> str:
        """Return the word in small letters, or raise the complaint."""
        word = value.strip().lower() if isinstance(value, str) else ""
        word = self.also.get(word, word)
        if word not in self.choices:
            raise complaint(value, self.need, _answer(self.answers, word))
        return word


@dataclass(frozen=True)
class SomeOf(Field):
    """Several of a few words: a list, or text separated by blanks."""

    choices: tuple[str, ...]
    such: str
    also: Mapping[str, str] = field(default_factory=dict, hash=False)
    """Everyday words, and the choice that each stands for."""

    def read(self, value: Any, decimal: str | None) -> tuple[str, ...]:
        """Return the words in the order given, each once, or raise the complaint."""
        words = value.lower().split() if isinstance(value, str) else value
        words = [self.also.get(str(word), word) for word in words] if isinstance(words, list) else words
        if not isinstance(words, list) or any(word not in self.choices for word in words):
            raise complaint(value, f"some of {', '.join(self.choices)}, such as {self.such}")
        return tuple(dict.fromkeys(words))


@dataclass(frozen=True)
class Flag(Field):
    """Yes or no in CSV, true or false in TOML."""

    answers: Mapping[str, str] = field(default_factory=dict, hash=False)
    """Words that are neither, and what to write instead."""

    def read(self, value: Any, decimal: str | None) -> bool:
        """Return the answer, or raise the complaint."""
        if isinstance(value, bool):
            return value
        try:
            return cells.yes_no(value) if isinstance(value, str) else cells.yes_no("")
        except ValueError:
            hint = _answer(self.answers, str(value).strip().lower())
            raise complaint(value, "yes or no (true or false in TOML)", hint) from None


WORDS = Text(cells.plain_text, "text in quotation marks")
CONNECTOR = Text(
    cells.connector,
    "a connector, such as genderless-30, barrel-5.5x2.1:plug or pv-latch:socket",
    cells.connector_meant,
)
IDENTIFIER = Text(cells.identifier, 'an id of letters, digits and . + / : _ - without blanks, such as "fold-50"')


@dataclass(frozen=True)
class Value(Field):
    """Any TOML value turned into another by a function that raises ValueError.

    Attributes
    ----------
    reader : callable
        From the value, and the file's decimal mark, to what is kept.
    need : str
        What is needed, with an example.
    """

    reader: Callable[[Any, str | None], Any]
    need: str

    def read(self, value: Any, decimal: str | None) -> Any:
        """Return what is kept, or raise the complaint."""
        try:
            return self.reader(value, decimal)
        except Ambiguous as error:
            raise two_readings(value, error) from None
        except PydanticCustomError:
            # one of its parts has words of its own
            raise
        except ValueError:
            raise complaint(value, self.need) from None
