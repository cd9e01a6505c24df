"""Tables of values as typed by people, read so that every fault in them is found at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from lateral_map.errors import Fault
from lateral_map.reading.words import LONGEST_NAME, clean_name, suggest


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


def refuse(problem: str, remedy: str) -> PydanticCustomError:
    """Return the error a validator raises: what is wrong, and what would be right."""
    return PydanticCustomError(
        "refused", "{problem}; {remedy}", {"problem": problem, "remedy": remedy}
    )


Model = TypeVar("Model", bound=Typed)


def read_typed(
    model: type[Model],
    given: Mapping[str, object],
    spelling: Spelling,
    unsure: Iterable[str] = (),
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


def key_names(model: type[BaseModel]) -> tuple[str, ...]:
    """Return the keys of a model as typed."""
    return tuple(field.alias or name for name, field in model.model_fields.items())


def _fault(error: ErrorDetails, model: type[Typed]) -> Fault:
    key = str(error["loc"][0])
    if error["type"] == "missing":
        return Fault("it is missing", _example(model, key), field=key)
    if error["type"] == "extra_forbidden":
        shown = clean_name(key)[:LONGEST_NAME]
        return Fault("this key is unknown", suggest(key, key_names(model)), field=shown)
    context = error.get("ctx", {})
    return Fault(
        str(context.get("problem", error["msg"])), str(context.get("remedy", "")), field=key
    )


def _example(model: type[Typed], key: str) -> str:
    for name, field in model.model_fields.items():
        if key in (name, field.alias) and field.examples:
            examples = " or ".join(str(example) for example in field.examples)
            return f"write for example {key} = {examples}"
    return "write it"
