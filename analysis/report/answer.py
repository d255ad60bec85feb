"""One question of the owner with its answer."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Answer:
    """One question of the owner, the answer in a line, what stands behind it, and where to look.

    `is_known` is False where the records do not allow an answer; the line then says why.
    """

    question: str
    line: str
    detail: str
    anchor: str
    is_known: bool = True
