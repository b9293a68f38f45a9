"""Building blocks of the configuration models: base class, types and field helpers."""

from typing import Annotated, Any, ClassVar, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from sim.config import checks


def _as_tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


# TOML lists become tuples, so that a frozen model holds nothing that can be changed in place.
AsTuple = BeforeValidator(_as_tuple)
Vector3 = Annotated[tuple[float, float, float], AsTuple]
Point2 = Annotated[tuple[float, float], AsTuple]
Points2 = Annotated[tuple[Point2, ...], AsTuple]


class Table(BaseModel):
    """Base of every configuration table: frozen, strict, finite, unknown keys forbidden."""

    model_config = ConfigDict(
        frozen=True,
        strict=True,
        extra="forbid",
        allow_inf_nan=False,
    )

    rules: ClassVar[tuple[checks.Rule, ...]] = ()

    @model_validator(mode="after")
    def _enforce_rules(self) -> Self:
        checks.enforce(self.rules, self)
        return self


def value(title: str, unit: str = "", default: Any = ..., more: str = "", **rules: Any) -> Any:
    """A pydantic field for one key.

    Parameters
    ----------
    title : str
        What the key is, in a few words; error messages use it.
    unit : str
        Unit as :func:`sim.config.units.unit_of` prints it for the key; a test compares them.
    default : object
        Value when the key is left out; ``...`` makes the key required.
    more : str
        Rest of the one-sentence description: meaning, source or assumption status.
    **rules
        Bounds and the like, handed to ``pydantic.Field``.
    """
    text = title[0].upper() + title[1:] + (f" [{unit}]" if unit else "")
    text += f"; {more}." if more else "."
    return Field(default, title=title, description=text, **rules)


def table(title: str, factory: Any = None, more: str = "") -> Any:
    """A pydantic field for a sub-table: ``None`` when absent, or built by ``factory``."""
    text = title[0].upper() + title[1:] + (f"; {more}." if more else ".")
    if factory is None:
        return Field(None, title=title, description=text)
    return Field(default_factory=factory, title=title, description=text)
