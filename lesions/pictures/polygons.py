"""Read, check and thin rings of points as people draw them. Pure arithmetic, no Django."""

import math
from collections.abc import Sequence

Point = tuple[float, float]

MOST_POINTS = 400
_LEAST_SHARE = 1e-5  # of the picture's area: below this nothing can be measured inside


class BadOutline(ValueError):
    """Raised for points that are no outline: a code with its values, in words in `lesions/pictures/wording.py`."""

    def __init__(self, code: str, **params: int) -> None:
        super().__init__(code)
        self.code, self.params = code, params


def checked(points: Sequence[Sequence[float]], width: int, height: int) -> tuple[Point, ...]:
    """Return the ring in canonical form; raises BadOutline unless it is simple and inside the picture."""
    ring = _rounded(points)
    if len(ring) < 3:
        raise BadOutline("too_few_different_points")
    if len(ring) > MOST_POINTS:
        raise BadOutline("too_many_points", most=MOST_POINTS, points=len(ring))
    if not all(0 <= x <= width and 0 <= y <= height for x, y in ring):
        raise BadOutline("point_outside")
    if abs(signed_area(ring)) < max(1.0, _LEAST_SHARE * width * height):
        raise BadOutline("encloses_nothing")
    crossing = first_crossing(ring)
    if crossing:
        one, two = crossing
        raise BadOutline("crosses_itself", one=one + 1, two=two + 1)
    return canonical(ring)


def _rounded(points: Sequence[Sequence[float]]) -> list[Point]:
    """Round points to a hundredth of a pixel, finer than any hand; a point that follows itself counts once."""
    ring: list[Point] = []
    for x, y in points:
        if not (math.isfinite(x) and math.isfinite(y)):
            raise BadOutline("point_is_no_number")
        point = (round(float(x), 2), round(float(y), 2))
        if not ring or point != ring[-1]:
            ring.append(point)
    if len(ring) > 1 and ring[0] == ring[-1]:
        ring.pop()
    return ring


def canonical(ring: Sequence[Point]) -> tuple[Point, ...]:
    """Write a ring in one form: from its smallest point on, always turning the same way."""
    # Drawn the other way round or from another point it is the same outline, and must have the same key.
    turned = list(ring) if signed_area(ring) > 0 else list(reversed(ring))
    start = turned.index(min(turned))
    return tuple(turned[start:] + turned[:start])


def signed_area(ring: Sequence[Point]) -> float:
    after = [*ring[1:], ring[0]]
    return sum(x * v - u * y for (x, y), (u, v) in zip(ring, after, strict=True)) / 2


def first_crossing(ring: Sequence[Point]) -> tuple[int, int] | None:
    """Find two sides that meet though they are no neighbours, by the number of their first points."""
    count = len(ring)
    sides = [(ring[i], ring[(i + 1) % count]) for i in range(count)]
    for i in range(count):
        # Every pair of sides: of at most 400 points that is quick enough, and a sweep line is easy to get wrong.
        for j in range(i + 1, count):
            neighbours = j == i + 1 or (i == 0 and j == count - 1)
            if _folded(sides[i], sides[j]) if neighbours else _meet(*sides[i], *sides[j]):
                return i, j
    return None


def _folded(one: tuple[Point, Point], two: tuple[Point, Point]) -> bool:
    """Say whether two neighbouring sides run back over each other."""
    shared = one[1] if one[1] == two[0] else one[0]
    a = one[0] if shared == one[1] else one[1]
    b = two[1] if shared == two[0] else two[0]
    ahead = (a[0] - shared[0]) * (b[0] - shared[0]) + (a[1] - shared[1]) * (b[1] - shared[1])
    return _turn(a, shared, b) == 0 and ahead > 0


def _meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Say whether the closed segments ab and cd have a point in common."""
    turns = (_turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b))
    if turns[0] != turns[1] and turns[2] != turns[3]:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(turn == 0 and _between(*end) for turn, end in zip(turns, ends, strict=True))


def _turn(a: Point, b: Point, c: Point) -> int:
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (cross > 0) - (cross < 0)


def _between(a: Point, b: Point, c: Point) -> bool:
    return min(a[0], b[0]) <= c[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= c[1] <= max(a[1], b[1])


def thinned(ring: Sequence[Point], most: int = 32) -> list[Point]:
    """Thin a ring to `most` points or fewer, straying as little as possible (Douglas-Peucker): a hand moves them."""
    if len(ring) <= most:
        return list(ring)
    far = max(range(len(ring)), key=lambda i: math.dist(ring[0], ring[i]))
    stray = 0.25
    while True:
        kept = _halved(ring[: far + 1], stray)[:-1] + _halved([*ring[far:], ring[0]], stray)[:-1]
        if len(kept) <= most:
            return kept
        # Growing by steps finds a bound in a dozen rounds; the exact one is worth nothing, a hand moves the points.
        stray *= 1.3


def _halved(line: Sequence[Point], stray: float) -> list[Point]:
    """Keep the point farthest from the chord where it strays, and look again on both sides of it."""
    if len(line) < 3:
        return list(line)
    distances = [_off_chord(point, line[0], line[-1]) for point in line[1:-1]]
    worst = max(range(len(distances)), key=distances.__getitem__)
    if distances[worst] <= stray:
        return [line[0], line[-1]]
    return _halved(line[: worst + 2], stray)[:-1] + _halved(line[worst + 1 :], stray)


def _off_chord(point: Point, start: Point, end: Point) -> float:
    length = math.dist(start, end)
    if not length:
        return math.dist(point, start)
    across = (end[0] - start[0]) * (start[1] - point[1]) - (start[0] - point[0]) * (end[1] - start[1])
    return abs(across) / length
