"""Does a polygon go round once, do two of them overlap, and how far inside its edges does a point lie?

Plain Python: a job file has a few corners, and reading it must not wait for NumPy. Lengths are in any one unit.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

Point = tuple[float, float]
Polygon = Sequence[Point]  # 3 or more corners, in order round the edge, either way round
Edge = tuple[Point, Point]

_GRID = 64  # points a side at which the depth is tried: within a hundredth or so of the polygon's size (chosen)


def rectangle(span: Point, across: Point) -> tuple[Point, ...]:
    """The rectangle of two intervals, as a polygon."""
    (left, right), (top, bottom) = span, across
    return (left, top), (right, top), (right, bottom), (left, bottom)


def bounds(polygon: Polygon) -> tuple[Point, Point]:
    """Smallest and largest x, smallest and largest y."""
    xs, ys = zip(*polygon, strict=True)
    return (min(xs), max(xs)), (min(ys), max(ys))


def goes_round_once(polygon: Polygon) -> bool:
    """Whether the edge nowhere meets itself, and encloses something."""
    edges = list(_edges(polygon))
    if any(start == end for start, end in edges):
        return False
    count = len(edges)
    for first, second in combinations(range(count), 2):
        if second - first == 1 or (first == 0 and second == count - 1):
            if _turns_back(edges[first], edges[second]):
                return False
        elif _meet(edges[first], edges[second]):
            return False
    return True


def overlap(first: Polygon, second: Polygon, touch: float) -> bool:
    """Whether two polygons that go round once share more than an edge; what is not wider than `touch` is an edge.

    Between two neighbouring heights at which corners lie or edges cross, no edge crosses another: half way between
    them it is enough to look at where each polygon begins and ends.
    """
    edges = [*_edges(first), *_edges(second)]
    heights = {y for (_, y), _ in edges}
    heights |= {y for one, other in combinations(edges, 2) if (y := _crossing_height(one, other)) is not None}
    for low, high in pairwise(sorted(heights)):
        if high - low <= touch:
            continue
        middle = (low + high) / 2
        for left, right in _inside_at(first, middle):
            if any(min(right, r) - max(left, l) > touch for l, r in _inside_at(second, middle)):
                return True
    return False


def depth(polygon: Polygon) -> float:
    """Distance from the edge of the point that lies deepest inside, to about a hundredth of the polygon's size."""
    (left, right), (top, bottom) = bounds(polygon)
    deepest = 0.0
    for row in range(_GRID):
        y = top + (bottom - top) * (row + 0.5) / _GRID
        for start, end in _inside_at(polygon, y):
            for column in range(_GRID):
                x = left + (right - left) * (column + 0.5) / _GRID
                if start < x < end:
                    deepest = max(deepest, min(_distance((x, y), edge) for edge in _edges(polygon)))
    return deepest


def _edges(polygon: Polygon) -> Iterator[Edge]:
    yield from zip(polygon, [*polygon[1:], polygon[0]], strict=True)


def _side(edge: Edge, point: Point) -> float:
    """Above 0 to one side of an edge's line, below 0 to the other."""
    (x1, y1), (x2, y2) = edge
    return (x2 - x1) * (point[1] - y1) - (y2 - y1) * (point[0] - x1)


def _turns_back(first: Edge, second: Edge) -> bool:
    """Whether of two edges that share a corner one runs back along the other."""
    (corner,) = set(first) & set(second) if len(set(first) & set(second)) == 1 else (None,)
    if corner is None:
        return True  # the same two corners: there and back
    (a,), (b,) = set(first) - {corner}, set(second) - {corner}
    along = (a[0] - corner[0]) * (b[0] - corner[0]) + (a[1] - corner[1]) * (b[1] - corner[1])
    return _side((corner, a), b) == 0 and along > 0


def _meet(first: Edge, second: Edge) -> bool:
    """Whether two edges share a point."""
    sides = [_side(first, point) for point in second] + [_side(second, point) for point in first]
    if sides[0] * sides[1] < 0 and sides[2] * sides[3] < 0:
        return True
    ends = [(first, point) for point in second] + [(second, point) for point in first]
    return any(side == 0 and _within(edge, point) for side, (edge, point) in zip(sides, ends, strict=True))


def _within(edge: Edge, point: Point) -> bool:
    """Whether a point of an edge's line lies between its ends."""
    return all(min(a, b) <= value <= max(a, b) for a, b, value in zip(*edge, point, strict=True))


def _crossing_height(first: Edge, second: Edge) -> float | None:
    """Height at which two edges cross inside both, None where they do not."""
    to_start, to_end = _side(first, second[0]), _side(first, second[1])
    if to_start * to_end >= 0 or _side(second, first[0]) * _side(second, first[1]) >= 0:
        return None
    return second[0][1] + (second[1][1] - second[0][1]) * to_start / (to_start - to_end)


def _inside_at(polygon: Polygon, y: float) -> Iterator[Point]:
    """Intervals of x inside a polygon at a height where none of its corners lies."""
    crossings = sorted(
        x1 + (x2 - x1) * (y - y1) / (y2 - y1) for (x1, y1), (x2, y2) in _edges(polygon) if (y1 > y) != (y2 > y)
    )
    yield from zip(crossings[::2], crossings[1::2], strict=True)


def _distance(point: Point, edge: Edge) -> float:
    """Distance of a point from an edge."""
    (x1, y1), (x2, y2) = edge
    along = (point[0] - x1) * (x2 - x1) + (point[1] - y1) * (y2 - y1)
    share = min(max(along / ((x2 - x1) ** 2 + (y2 - y1) ** 2), 0.0), 1.0)
    return math.hypot(point[0] - x1 - share * (x2 - x1), point[1] - y1 - share * (y2 - y1))
