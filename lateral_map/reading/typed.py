"""Tables of values as typed by people, read so that every fault in them is found at once."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from lateral_map.errors import Either, Fault, Told
from lateral_map.reading.words import LONGEST_NAME, clean_name, suggest
from lateral_map.units import from_metres


@dataclass(frozen=True, slots=True)
class Spelling:
    """How a file spells its values: the unit of a bare length, and how a table writes numbers."""

    unit: str
    numbers_as_text: bool = False
    decimal_comma: bool = False


class Typed(BaseModel):
    """A table of values as typed by people. Lengths are metres once read; unknown keys are faults.

    A default is in metres; the JSON Schema shows it with its own unit.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_by_name=True, validate_by_alias=True
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield what is wrong with which keys are given together, whatever their values."""
        del given
        return ()

    def value_faults(self) -> Iterable[Fault]:
        """Yield what is wrong between values that are each right by themselves."""
        return ()


def shown_length(value_m: float, unit: str) -> str:
    """Return a default length as the format's contract gives it, such as ``0.3 ft``."""
    return f"{from_metres(value_m, unit):g} {unit}"


def key(
    description: str,
    title: str | None = None,
    *,
    to: str = "",
    default: Any = None,
    required: bool = False,
    shown: object = None,
    examples: Sequence[str] = (),
    alias: str | None = None,
    per: str = "",
) -> Any:
    """Declare a key: what it means, and what it is called beside a form's field.

    It is None where it is left out, unless it has a default or is required. ``to`` is the field of
    the model's dataclass it becomes; ``per`` is what a rate is for: each, length, area or earth.
    ``shown`` is the default as people write it.
    """
    extra: dict[str, Any] = {"_": {"to": to, "per": per}}
    if shown is not None:
        extra["default"] = shown
    return Field(
        default=... if required else default,
        title=title,
        description=description,
        examples=list(examples) or None,
        alias=alias,
        json_schema_extra=extra,
    )


def keys_of(model: type, unit: str = "ft") -> Callable[..., Any]:
    """Return a ``key`` that takes its default from a dataclass: ``(to, description, title)``."""
    defaults = {one.name: one.default for one in fields(model) if one.default is not MISSING}

    def declare(to: str, description: str, title: str | None = None, **more: Any) -> Any:
        default = defaults.get(to)
        if to.endswith("_m") and default:
            more["shown"] = shown_length(default, unit)
        return key(description, title, to=to, default=default, required=to not in defaults, **more)

    return declare


def own_notes(field: FieldInfo) -> Mapping[str, Any]:
    """Return what ``key`` notes of a key beside pydantic: ``to`` and ``per``."""
    extra = field.json_schema_extra
    notes = extra.get("_") if isinstance(extra, dict) else None
    return notes if isinstance(notes, dict) else {}


def made(table: Typed) -> dict[str, Any]:
    """Return the values of a table by the names of the dataclass's fields they become."""
    return {to: getattr(table, name) for name, to in _becoming(type(table))}


@functools.cache
def _becoming(model: type[Typed]) -> tuple[tuple[str, str], ...]:
    """Return the keys that become a field of a dataclass, each with that field's name."""
    notes = ((name, own_notes(field).get("to")) for name, field in model.model_fields.items())
    return tuple((name, to) for name, to in notes if to)


def refuse(problem: str, remedy: str) -> PydanticCustomError:
    """Return the error a validator raises: what is wrong, and what would be right."""
    return PydanticCustomError(
        "refused", "{problem}; {remedy}", {"problem": problem, "remedy": remedy}
    )


Model = TypeVar("Model", bound=Typed)


def read_typed(
    model: type[Model], given: Mapping[str, object], spelling: Spelling, unsure: Iterable[str] = ()
) -> tuple[Model | None, list[Fault]]:
    """Read ``given`` into ``model``; return it, and every fault with the key as its field.

    What is wrong is left out and the rest read, so that later checks still see it; the model is
    None only where a required key is missing or wrong. ``unsure`` keys may have been given under a
    wrong name, which is reported elsewhere: nothing is said to miss them.
    """
    fuller = set(model.presence_faults(dict.fromkeys(unsure, "") | dict(given)))
    faults = [fault for fault in model.presence_faults(given) if fault in fuller]
    instance, refused = _try(model, given, spelling)
    if instance is None:
        faults += [_fault(error, model) for error in refused]
        wrong = {str(error["loc"][0]) for error in refused}
        instance, _ = _try(
            model, {key: value for key, value in given.items() if key not in wrong}, spelling
        )
    if instance is not None:
        faults += instance.value_faults()
    return instance, faults


def _try(
    model: type[Model], given: Mapping[str, object], spelling: Spelling
) -> tuple[Model | None, list[ErrorDetails]]:
    try:
        return model.model_validate(dict(given), context=spelling), []
    except ValidationError as error:
        return None, error.errors(include_url=False, include_input=False)


@functools.cache
def key_names(model: type[BaseModel]) -> tuple[str, ...]:
    """Return the keys of a model as typed."""
    return tuple(field.alias or name for name, field in model.model_fields.items())


def _fault(error: ErrorDetails, model: type[Typed]) -> Fault:
    key = str(error["loc"][0])
    if error["type"] == "missing":
        fields = {field.alias or name: field for name, field in model.model_fields.items()}
        examples = fields[key].examples if key in fields else None
        shown = " or ".join(str(example) for example in examples or ())
        remedy = "write it"
        if shown:
            bare = Either(f"{key} = {shown}", shown.replace('"', ""))
            remedy = Told("write for example ", bare)
        return Fault("it is missing", remedy, field=key)
    if error["type"] == "extra_forbidden":
        shown = clean_name(key)[:LONGEST_NAME]
        return Fault("this key is unknown", suggest(key, key_names(model)), field=shown)
    context = error.get("ctx", {})
    return Fault(
        str(context.get("problem", error["msg"])), str(context.get("remedy", "")), field=key
    )
