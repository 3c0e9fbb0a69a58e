"""A local search on the order of a round that looks near only, and kicks the round to get out of where it is stuck.

It turns stretches round (2-opt) and moves short ones elsewhere (Or-opt), each time between places near each other, and
after a kick looks only at the places that were touched. Plain lists: an element at a time they are faster than arrays.
"""

from collections.abc import Iterator

import numpy as np

from registry.plant.walking_lines import Integers

LONGEST_MOVED = 3
# Own method, tried on forty instances of 50 to 200 places, even and in clusters: how many near places are looked at,
# how far from each other a kick cuts, and how much of a mean leg a round may get longer by in the first kicks.
NEAR = 10
STEPS_APART = 3
FALL_BACK = 0.05


def kicked_round(distances: Integers, order: list[int], *, seed: int, kicks: int) -> list[int]:
    """A round no longer than the given one, after so many kicks, each mended by a local search and kept if it helped.

    `distances` is symmetric; the round begins and ends at place 0, which is not listed.
    """
    if len(order) < 4:
        return list(order)
    search = _Search(distances, order)
    search.settle(list(search.way))
    chance = _chances(seed)
    here = search.length()
    best, best_way = here, list(search.way)
    slack = FALL_BACK * here / len(search.way)
    for turn in range(kicks):
        way, place_of = list(search.way), list(search.place_of)
        longer = search.kick(chance)
        tried = here + longer
        if tried <= here + slack * (1 - turn / kicks) * next(chance):
            here = tried
            if here < best:
                best, best_way = here, list(search.way)
        else:
            search.way, search.place_of = way, place_of
    return best_way[1:]


def _chances(seed: int) -> Iterator[float]:
    """Numbers by chance from 0 to below 1, drawn many at a time."""
    source = np.random.default_rng(seed)
    while True:
        yield from source.random(4096).tolist()


class _Search:
    """A round as `way`, place 0 first, and where in it each place stands."""

    def __init__(self, distances: Integers, order: list[int]) -> None:
        self.way = [0, *order]
        self.place_of = [0] * len(distances)
        for at, place in enumerate(self.way):
            self.place_of[place] = at
        on = np.sort(np.array(self.way))
        apart = distances[np.ix_(on, on)].astype(np.float64)
        np.fill_diagonal(apart, np.inf)
        nearest = on[np.argsort(apart, axis=1, kind="stable")[:, : min(NEAR, len(on) - 1)]]
        self.near: dict[int, list[int]] = dict(zip(on.tolist(), nearest.tolist(), strict=True))
        self.apart: list[list[int]] = distances.tolist()
        self.waits = [False] * len(distances)

    def length(self) -> int:
        """Length of the round."""
        apart, way = self.apart, self.way
        return sum(apart[way[at - 1]][place] for at, place in enumerate(way))

    def kick(self, chance: Iterator[float]) -> int:
        """Exchange two neighbouring stretches that meet near each other, mend the round; by how much it got longer."""
        way, apart, count = self.way, self.apart, len(self.way)
        first = int(next(chance) * count)
        cuts = {first}
        for _ in range(20):
            place = way[first]
            for _ in range(STEPS_APART):
                near = self.near[place]
                place = near[int(next(chance) * len(near))]
            cuts.add(self.place_of[place])
            if len(cuts) == 3:
                break
        while len(cuts) < 3:
            cuts.add(int(next(chance) * count))
        one, two, three = sorted(cuts)
        after = way[three + 1] if three + 1 < count else way[0]
        ends = [way[one], way[one + 1], way[two], way[two + 1], way[three], after]
        a, b, c, d, e, f = ends
        self._put(one + 1, way[two + 1 : three + 1] + way[one + 1 : two + 1])
        longer = apart[a][d] + apart[e][b] + apart[c][f] - apart[a][b] - apart[c][d] - apart[e][f]
        return longer - self.settle(ends)

    def settle(self, places: list[int]) -> int:
        """Make every change that shortens the round at these places or where it leads on to; by how much in all."""
        waiting = places
        for place in waiting:
            self.waits[place] = True
        saved = 0
        while waiting:
            place = waiting.pop()
            self.waits[place] = False
            while True:
                gain, touched = self._change(place, 1)
                if not gain:
                    gain, touched = self._change(place, -1)
                if not gain:
                    break
                saved += gain
                for other in touched:
                    if not self.waits[other]:
                        self.waits[other] = True
                        waiting.append(other)
        return saved

    def _change(self, place: int, step: int) -> tuple[int, tuple[int, ...]]:
        """Take the leg from a place onward (step 1) or back (-1) out and join it to a near one, if that saves."""
        way, place_of, apart, count = self.way, self.place_of, self.apart, len(self.way)
        at = place_of[place]
        onward = way[(at + step) % count]
        from_place, from_onward = apart[place], apart[onward]
        leg = from_place[onward]
        for near in self.near[place]:
            gain = leg - from_place[near]
            if gain <= 0:
                break
            near_at = place_of[near]
            beyond = way[(near_at + step) % count]
            saved = gain + apart[near][beyond] - from_onward[beyond]
            if saved > 0:
                self._turn(at, near_at, step)
                return saved, (place, onward, near, beyond)
            saved, touched = self._move(at, near_at, step, gain, onward)
            if saved:
                return saved, touched
        return 0, ()

    def _move(self, at: int, near_at: int, step: int, gain: int, onward: int) -> tuple[int, tuple[int, ...]]:
        """Put the stretch of up to three places that ends here beside a near place, on either side, if that saves."""
        way, apart, count = self.way, self.apart, len(self.way)
        place, near = way[at], way[near_at]
        for length in range(1, LONGEST_MOVED + 1):
            far_at = at - step * (length - 1)
            # Place 0 stays where it is, and a stretch does not go beside itself.
            if far_at < 1 or far_at >= count or at < 1 or near_at in range(min(at, far_at), max(at, far_at) + 1):
                break
            far, before = way[far_at], way[(far_at - step) % count]
            freed = gain + apart[far][before] - apart[onward][before]
            if freed <= 0:
                continue
            for side in (1, -1):
                beside = way[(near_at + side) % count]
                if beside in (place, far):
                    continue
                saved = freed + apart[near][beside] - apart[far][beside]
                if saved > 0:
                    self._put_beside(min(at, far_at), length, near_at, side, turned=(far_at < at) == (side > 0))
                    return saved, (place, onward, near, beside, far, before)
        return 0, ()

    def _turn(self, at: int, near_at: int, step: int) -> None:
        """Turn the stretch between two legs round, or all the rest where that would move place 0."""
        low, high = (at, near_at) if at < near_at else (near_at, at)
        if step > 0:
            low, high = low + 1, high + 1
        elif low == 0:
            low, high = high, len(self.way)
        self._put(low, self.way[low:high][::-1])

    def _put_beside(self, begin: int, length: int, near_at: int, side: int, *, turned: bool) -> None:
        """Move a stretch to behind (side 1) or before (-1) the place at `near_at`."""
        stretch = self.way[begin : begin + length]
        if turned:
            stretch.reverse()
        # The leg that takes it lies before this position; before place 0 is at the end.
        into = near_at + 1 if side > 0 else near_at or len(self.way)
        if into <= begin:
            self._put(into, stretch + self.way[into:begin])
        else:
            self._put(begin, self.way[begin + length : into] + stretch)

    def _put(self, begin: int, places: list[int]) -> None:
        self.way[begin : begin + len(places)] = places
        place_of = self.place_of
        for at, place in enumerate(places, start=begin):
            place_of[place] = at
