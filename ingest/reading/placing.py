"""Where a chart lies in a picture: its tags are found, and the page is placed by them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from ingest.chart.layout import Layout
from ingest.errors import PageError
from ingest.paper import Box
from ingest.reading.flatten import Pose, box_corners, find_near, misfit_mm, place
from ingest.reading.tags import SeenTag, find_tags, merged
from ingest.reading.values import Floats, Grey

_NEAR_ROUNDS = 3
_COMPANY_TAGS = 2
_ENOUGH_TAGS = 3  # with fewer, a longer look may find more


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A layout's tags found in a picture.

    picture: as given, or mirrored back. strays: tags beside the sheet, which are another chart's.
    """

    picture: Grey
    layout: Layout
    pose: Pose
    tags: tuple[SeenTag, ...]
    strays: tuple[SeenTag, ...] = ()

    @property
    def has_company(self) -> bool:
        """Whether another chart is in the picture: one mark alone may be a heap's corner that looks out."""
        return len({tag.id for tag in self.strays}) >= _COMPANY_TAGS

    @property
    def merit(self) -> tuple[int, float]:
        return len(self.tags), -self.misfit_mm

    @property
    def misfit_mm(self) -> float:
        return misfit_mm(self.pose, self.tags, self.layout.tags)

    def in_detail(self, picture: Grey) -> "Placed":
        """The same in the same picture with twice the pixels each way."""
        tags, strays = (
            tuple(SeenTag(tag.id, 2 * tag.corners + 0.5) for tag in found)
            for found in (self.tags, self.strays)
        )
        return Placed(picture, self.layout, self.pose.reduced(0.5), tags, strays)

    def outline(self, around_mm: float = 0.0) -> Floats:
        """The sheet's corners in the picture, shape (4, 2), with so much around it."""
        paper = self.layout.paper
        return self.pose.to_picture(box_corners(Box(0, 0, paper.width, paper.height).grown(around_mm)))


def find(grey: Grey, layouts: Sequence[Layout], *, longer: bool = True) -> Placed:
    """The layout whose tags lie best in the picture, or in its mirror image.

    longer: look for longer where a quick look does not find enough.

    Raises PageError if no chart can be placed.
    """
    kinds = list({(layout.paper, layout.tags): layout for layout in layouts}.values())
    wanted = {tag.id for layout in kinds for tag in layout.tags}
    problem = PageError("there is no chart layout to look for; print the charts first")
    seen: dict[bool, tuple[SeenTag, ...]] = {False: (), True: ()}
    for hard in (False, True) if longer else (False,):
        for mirrored in (False, True):
            picture = np.ascontiguousarray(grey[:, ::-1]) if mirrored else grey
            seen[mirrored] = merged((*seen[mirrored], *find_tags(picture, wanted, hard=hard)))
            placed: list[Placed] = []
            for layout in kinds:
                try:
                    placed.append(place_by(seen[mirrored], picture, layout))
                except PageError as error:
                    problem = problem if mirrored else error
            best = max(placed, key=lambda option: option.merit, default=None)
            if best and (hard or len(best.tags) >= _ENOUGH_TAGS):
                return replace(best, strays=_beside(best, seen[mirrored]))
    raise problem


def find_another(found: Sequence[Placed], layouts: Sequence[Layout]) -> Placed:
    """A further chart in the picture in which those were found, at least one of them.

    Raises PageError if it cannot be placed.
    """
    picture = found[-1].picture
    hidden = picture.copy()
    for placed in found:
        cv2.fillPoly(hidden, [np.rint(placed.outline()).astype(np.int32)], 255)
    another = find(hidden, layouts)
    if another.picture is hidden:
        return replace(another, picture=picture)
    raise PageError("a second chart in this picture lies the wrong way round")


def _beside(placed: Placed, seen: Sequence[SeenTag]) -> tuple[SeenTag, ...]:
    outline = placed.outline().astype(np.float32)
    return tuple(
        tag
        for tag in seen
        if cv2.pointPolygonTest(outline, (float(tag.centre[0]), float(tag.centre[1])), False) < 0
    )


def place_by(tags: Sequence[SeenTag], picture: Grey, layout: Layout) -> Placed:
    """Place by the tags, then look closely where the missing ones should be, and place again."""
    size = (picture.shape[1], picture.shape[0])
    pose, agreed = place(tags, layout.tags, layout.paper, size)
    for _ in range(_NEAR_ROUNDS):  # each tag that is found makes the next one's place surer
        missing = [tag for tag in layout.tags if tag.id not in {seen.id for seen in agreed}]
        more = find_near(picture, pose, missing)
        if not more:
            break
        pose, agreed = place(merged((*agreed, *more)), layout.tags, layout.paper, size)
    return Placed(picture, layout, pose, agreed)
