"""What a value must be, as pydantic annotations that word their own complaint.

Every field says what it needs and gives an example, so that the message does not depend on which check failed.
The same annotations read text from CSV and typed values from TOML.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, cast

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from kitopt.files.faults import quoted
from kitopt.files.marks import Ambiguous
from kitopt.inventory import cells


def complaint(value: object, need: str) -> PydanticCustomError:
    """Return the error that says what was found and what was needed."""
    # through the context, because a value may hold braces
    return PydanticCustomError("need", "{text}", {"text": f"found {quoted(value)}, need {need}."})


def two_readings(value: object, error: Ambiguous) -> PydanticCustomError:
    """Return the error that shows both readings of a number, each as it can be written without doubt."""
    text = (
        f"found {quoted(value)}, which may be {error.thousands} or {error.decimals}, and nothing else settles "
        f"whether its mark stands for thousands or decimals; write {error.thousands} or {error.decimals}."
    )
    return PydanticCustomError("need", "{text}", {"text": text})


class _Field:
    """Common part: the reading function runs before pydantic's own check of the type."""

    def read(self, value: Any, decimal: str | None) -> Any:
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def before(value: Any, info: core_schema.ValidationInfo[Any]) -> Any:
            context = cast("dict[str, str | None]", info.context or {})
            return self.read(value, context.get("decimal"))

        return core_schema.with_info_before_validator_function(before, handler(source))


@dataclass(frozen=True)
class Number(_Field):
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
class Text(_Field):
    """Text turned into a value by a function that raises ValueError.

    Attributes
    ----------
    reader : callable
        From str to the value.
    need : str
        What is needed, with an example.
    """

    reader: Callable[[str], Any]
    need: str

    def read(self, value: Any, decimal: str | None) -> Any:
        """Return the value, or raise the complaint."""
        try:
            if not isinstance(value, str):
                raise ValueError("not text")
            return self.reader(value)
        except ValueError:
            raise complaint(value, self.need) from None


@dataclass(frozen=True)
class OneOf(_Field):
    """One of a few words."""

    choices: tuple[str, ...]

    def read(self, value: Any, decimal: str | None) -> str:
        """Return the word in small letters, or raise the complaint."""
        word = value.strip().lower() if isinstance(value, str) else ""
        if word not in self.choices:
            raise complaint(value, f"one of {', '.join(self.choices)}")
        return word


@dataclass(frozen=True)
class SomeOf(_Field):
    """Several of a few words: a list, or text separated by blanks."""

    choices: tuple[str, ...]
    such: str

    def read(self, value: Any, decimal: str | None) -> tuple[str, ...]:
        """Return the words in the order given, each once, or raise the complaint."""
        words = value.lower().split() if isinstance(value, str) else value
        if not isinstance(words, list) or any(word not in self.choices for word in words):
            raise complaint(value, f"some of {', '.join(self.choices)}, such as {self.such}")
        return tuple(dict.fromkeys(words))


@dataclass(frozen=True)
class Flag(_Field):
    """Yes or no in CSV, true or false in TOML."""

    def read(self, value: Any, decimal: str | None) -> bool:
        """Return the answer, or raise the complaint."""
        if isinstance(value, bool):
            return value
        try:
            return cells.yes_no(value) if isinstance(value, str) else cells.yes_no("")
        except ValueError:
            raise complaint(value, "yes or no (true or false in TOML)") from None


WORDS = Text(cells.plain_text, "text in quotation marks")
CONNECTOR = Text(cells.connector, "a connector, such as genderless-30, barrel-5.5x2.1:plug or pv-latch:socket")
IDENTIFIER = Text(cells.identifier, 'an id of letters, digits and . + / : _ - without blanks, such as "fold-50"')


@dataclass(frozen=True)
class Value(_Field):
    """Any TOML value turned into another by a function that raises ValueError.

    Attributes
    ----------
    reader : callable
        From the value to what is kept.
    need : str
        What is needed, with an example.
    """

    reader: Callable[[Any], Any]
    need: str

    def read(self, value: Any, decimal: str | None) -> Any:
        """Return what is kept, or raise the complaint."""
        try:
            return self.reader(value)
        except ValueError:
            raise complaint(value, self.need) from None


@dataclass(frozen=True)
class Amount(_Field):
    """Like `Value`, for numbers in shapes of their own: the reader also takes the file's decimal mark."""

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


def needed(parts: Iterable[object]) -> str:
    """Return in words what a field needs, from its annotations."""
    for part in parts:
        if isinstance(part, Number):
            return part.need()
        if isinstance(part, Text | Value | Amount):
            return part.need
        if isinstance(part, OneOf):
            return f"one of {', '.join(part.choices)}"
    return "a value"
