"""What `Site` and `Goals` share: one error for everything wrong with an answer, and reading answers from a
file.

In come keyword arguments or a TOML or JSON file; out goes a checked, frozen model, or BadInput / UnknownName
naming the answer, what is wrong with it and what to write instead.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationError
from rapidfuzz import process

from recommender.errors import BadInput
from recommender.files import json_of

# A site file may hold both kinds of answer, each under its own heading.
SECTIONS = ("site", "goals", "planting", "plot")


def nearest(text: str, known: list[str], count: int = 3) -> list[str]:
    """The `count` names of `known` most like `text`, nearest first."""
    return [match[0] for match in process.extract(text, known, limit=count, score_cutoff=45)]


def _say(name: str, problem: dict[str, Any], model: type[BaseModel]) -> tuple[str, str]:
    """One pydantic problem as (what, remedy) in the grower's words."""
    kind, context, given = problem["type"], problem.get("ctx", {}), problem.get("input")
    if kind == "extra_forbidden":
        known = list(model.model_fields)
        likely = nearest(name, known)
        remedy = f"Did you mean {', or '.join(likely)}?" if likely else f"Known are {', '.join(known)}"
        return f"“{name}” is not a question that is asked", remedy
    if kind == "literal_error":
        return f"“{given}” is not an answer to {name}", f"Answer {context['expected']}"
    if kind in ("greater_than_equal", "greater_than", "less_than_equal", "less_than", "finite_number"):
        bound = problem["msg"].removeprefix("Input should be ")
        return f"{name} is {given}, which cannot be", f"Give a number that is {bound}"
    if kind.startswith(("float", "int")):
        return f"{name} must be a number, not “{given}”", "Write it in figures, without a unit"
    if kind == "value_error":
        what, _, remedy = str(context["error"]).partition(" | ")
        return what, remedy
    return f"{name} cannot be “{given}”", problem["msg"].removeprefix("Input should be ").capitalize()


class Answers(BaseModel):
    """Base of what a person answers: frozen, nothing unknown accepted. Raises BadInput instead of a
    traceback."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    section: ClassVar[str] = ""

    def __init__(self, **answers: Any) -> None:
        try:
            super().__init__(**answers)
        except ValidationError as error:
            told = [
                _say(
                    ".".join(str(part) for part in problem["loc"]) or self.section, dict(problem), type(self)
                )
                for problem in error.errors()
            ]
            raise BadInput(
                "; ".join(what for what, _ in told),
                where=f"{self.section} answers",
                remedy="; ".join(dict.fromkeys(remedy for _, remedy in told if remedy)),
            ) from None

    @classmethod
    def answers_in(cls, path: Path | str) -> dict[str, Any]:
        """The answers of this kind that a TOML or JSON file holds, unchecked.

        A file has a `[site]` and a `[goals]` heading, or site answers alone without a heading.
        Raises BadInput if the file cannot be read or is neither TOML nor JSON.
        """
        path = Path(path)
        try:
            raw = path.read_bytes()
        except OSError as error:
            raise BadInput(
                f"The site file cannot be read: {error.strerror or error}",
                where=str(path),
                remedy="Check the path and that you may read the file",
            ) from None
        try:
            as_json = path.suffix.lower() == ".json"
            held = json_of(raw) if as_json else tomllib.loads(raw.decode("utf-8-sig"))
        except (ValueError, RecursionError) as error:
            kind = "JSON" if as_json else "TOML"
            raise BadInput(
                f"The site file is not {kind} in UTF-8: {error}",
                where=str(path),
                remedy='Write lines such as place = "Geneva, New York" under a line that says [site]',
            ) from None
        if not isinstance(held, dict):
            raise BadInput(
                "The site file holds a list or a single value",
                where=str(path),
                remedy="Put the answers in one object with the keys site and goals",
            )
        if not any(section in held for section in SECTIONS):
            return held if cls.section == SECTIONS[0] else {}
        stray = [key for key in held if key not in SECTIONS]
        if stray:
            raise BadInput(
                f"“{stray[0]}” stands under no heading",
                where=str(path),
                remedy="Move it below [site] or [goals]",
            )
        answers = held.get(cls.section, {})
        if not isinstance(answers, dict):
            raise BadInput(
                f"“{cls.section}” must be a heading with answers below it, not a single value",
                where=str(path),
                remedy=f"Write [{cls.section}] on a line of its own and the answers below it",
            )
        return answers

    @classmethod
    def from_file(cls, path: Path | str) -> Any:
        """Read and check the answers of this kind in a TOML or JSON file. Raises BadInput naming the file."""
        answers = cls.answers_in(path)
        try:
            return cls(**answers)
        except BadInput as error:
            raise BadInput(error.what, where=f"{path}, {cls.section} answers", remedy=error.remedy) from None
