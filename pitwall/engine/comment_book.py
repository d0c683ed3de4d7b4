"""What the driver said of one car, in the order in which it was noted. Acts, like all that was said: no belief.

A comment that is completed or taken back keeps its number, and no other gets it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.model.comments import Comment
from pitwall.model.events import CommentRead
from pitwall.model.outputs import CommentNoted


@dataclass
class CommentBook:
    """Every comment of one car's session. ``news`` waits to be published; ``named``: those that the desk gave to a run
    or a lap by name; ``readings``: how the shorthand of a command was read as it was given, by the command's id."""

    car: str
    comments: list[Comment] = field(default_factory=list)
    highest: int = 0
    news: list[CommentNoted] = field(default_factory=list)
    editions: dict[int, int] = field(default_factory=dict)
    named: set[int] = field(default_factory=set)
    readings: dict[str, CommentRead] = field(default_factory=dict)

    def find(self, number: int) -> Comment | None:
        """The comment of that number; None for one that there never was, or that was taken back."""
        return next((one for one in self.comments if one.comment == number), None)

    def note(self, comment: Comment, now: float) -> Comment:
        """Take a new comment in; it gets the next number."""
        self.highest += 1
        numbered = comment.model_copy(update={"comment": self.highest})
        self.comments.append(numbered)
        self._tell(numbered, now)
        return numbered

    def put(self, comment: Comment, now: float) -> None:
        """A comment as it stands now takes the place of what it was."""
        at = next(index for index, one in enumerate(self.comments) if one.comment == comment.comment)
        self.comments[at] = comment
        self._tell(comment, now)

    def take_out(self, comment: Comment, now: float) -> None:
        """It was noted by mistake."""
        self.comments = [one for one in self.comments if one.comment != comment.comment]
        self._tell(comment, now, gone=True)

    def take_news(self) -> list[CommentNoted]:
        """What changed since this was asked last."""
        news, self.news = self.news, []
        return news

    def _tell(self, comment: Comment, now: float, gone: bool = False) -> None:
        edition = self.editions[comment.comment] = self.editions.get(comment.comment, 0) + 1
        name = f"comment-{self.car}-{comment.comment}.{edition}"
        self.news.append(CommentNoted(id=name, t=now, car=self.car, comment=comment, taken_back=gone))
