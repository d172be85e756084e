"""The shortest order of a small day: every order is considered, branch by branch.

The visits of one case form a chain, so an order of the day is a merge of chains. A branch is the
merge so far with the earliest times it allows; it is cut off as soon as it cannot end before the
best day known. Airings are taken as given: whoever uses the result judges the air anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from triage.history.daytypes import NEVER

#: agent of a stretch that uses none: every airing keeps it waiting
NOBODY = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One visit as the search sees it.

    Parameters
    ----------
    hands_min  hands-on time [min]
    agent      agent in use, ``NOBODY`` if none
    airing_min how long work with other agents waits after it [min]
    from_min   earliest begin [min of the day]
    rest_min   rest after the stretch before it in the same case [min]
    first      how many stretches before it in its chain its task began; 0: it is the first
    after_min, until_min earliest and latest begin after the end of the task's first stretch
    """

    hands_min: int
    agent: str
    airing_min: int
    from_min: int = 0
    rest_min: int = 0
    first: int = 0
    after_min: int = 0
    until_min: int = NEVER


@dataclass(frozen=True, slots=True)
class Shortest:
    """What the search found: begins of each chain's stretches [min]; None: nothing is shorter.

    ``is_proven`` says that every branch was followed or cut off for a reason.
    """

    begins: tuple[tuple[int, ...], ...] | None
    ends_min: int | None
    is_proven: bool


def shortest_order(
    chains: Sequence[Sequence[Stretch]],
    begins_min: int,
    free_min: Mapping[str, int],
    below_min: int,
    most_placed: int,
) -> Shortest:
    """Return the order of all stretches that ends first, if it ends before ``below_min``.

    Parameters
    ----------
    chains        stretches of each case in their order
    begins_min    begin of the day [min]
    free_min      agent -> first minute at which it may be used, where that is later
    below_min     end of the best day known [min]
    most_placed   how many stretches are placed in all branches before the search gives up
    """
    search = _Search(chains, begins_min, free_min, below_min, most_placed)
    search.follow(search.root())
    if search.best is None:
        return Shortest(None, None, search.left > 0)
    return Shortest(tuple(tuple(each) for each in search.best), search.below, search.left > 0)


@dataclass(slots=True)
class _Branch:
    """A merge so far: (chain, place, begin) of each stretch, and what it leaves free."""

    order: list[tuple[int, int, int]]
    held: dict[tuple[int, int], int]
    next_place: list[int]
    ready: list[int]
    free: dict[str, int]
    first_end: list[int]
    end: int


class _Search:
    def __init__(
        self,
        chains: Sequence[Sequence[Stretch]],
        begins_min: int,
        free_min: Mapping[str, int],
        below_min: int,
        most_placed: int,
    ) -> None:
        self.chains = chains
        self.begins = begins_min
        agents = {each.agent for chain in chains for each in chain} | {NOBODY}
        self.agents = sorted(agents)
        self.free = {a: max(begins_min, free_min.get(a, 0)) for a in self.agents}
        self.below = below_min
        self.left = most_placed
        self.best: list[list[int]] | None = None
        self.tails = [_tails(chain) for chain in chains]
        self.hands_left = [
            [sum(s.hands_min for s in chain[place:]) for place in range(len(chain) + 1)]
            for chain in chains
        ]

    def root(self) -> _Branch:
        """Return the branch on which nothing is placed yet."""
        count = len(self.chains)
        return _Branch(
            [], {}, [0] * count, [self.begins] * count, dict(self.free), [0] * count, self.begins
        )

    def follow(self, branch: _Branch) -> None:
        """Follow a branch to its end, the most promising twig first."""
        twigs = []
        for chain, place in enumerate(branch.next_place):
            if place == len(self.chains[chain]):
                continue
            twig = self._grown(branch, chain)
            if twig is not None:
                twigs.append(
                    (self._least_end(twig), twig.end, -self.tails[chain][place], chain, twig)
                )
        if not twigs:
            done = all(
                place == len(chain)
                for place, chain in zip(branch.next_place, self.chains, strict=True)
            )
            if done and branch.end < self.below:
                self._keep(branch)
            return
        for least_end, _, _, _, twig in sorted(twigs, key=lambda each: each[:4]):
            if self.left <= 0:
                return
            if least_end < self.below:
                self.follow(twig)

    def _keep(self, branch: _Branch) -> None:
        self.below = branch.end
        self.best = [[0] * len(chain) for chain in self.chains]
        for chain, place, begin in branch.order:
            self.best[chain][place] = begin

    def _least_end(self, branch: _Branch) -> int:
        """Return a minute before which no day that grows from a branch can end."""
        least, hands = branch.end, 0
        soonest = NEVER
        for chain, place in enumerate(branch.next_place):
            if place == len(self.chains[chain]):
                continue
            stretch = self.chains[chain][place]
            begin = max(self._soonest(branch, chain, stretch), branch.free[stretch.agent])
            soonest = min(soonest, begin)
            least = max(least, begin + self.tails[chain][place])
            hands += self.hands_left[chain][place]
        return max(least, soonest + hands) if hands else least

    def _soonest(self, branch: _Branch, chain: int, stretch: Stretch) -> int:
        begin = max(branch.ready[chain] + stretch.rest_min, stretch.from_min)
        if stretch.first:
            begin = max(begin, branch.first_end[chain] + stretch.after_min)
        return begin

    def _grown(self, branch: _Branch, chain: int) -> _Branch | None:
        """Return the branch with the next stretch of a chain, None if it cannot come here."""
        twig = _Branch(
            list(branch.order),
            branch.held,
            list(branch.next_place),
            list(branch.ready),
            dict(branch.free),
            list(branch.first_end),
            branch.end,
        )
        late = self._place(twig, chain)
        while late > 0:
            # It came after its stop time: the task begins later, and all behind it again.
            place = branch.next_place[chain]
            first = place - self.chains[chain][place].first
            began = next(b for c, p, b in branch.order if (c, p) == (chain, first))
            began = max(began, twig.held.get((chain, first), 0)) + late
            again = self._replaced(branch, {**twig.held, (chain, first): began})
            if again is None:
                return None
            twig = again
            late = self._place(twig, chain)
        return twig if twig.end < self.below else None

    def _replaced(self, branch: _Branch, held: dict[tuple[int, int], int]) -> _Branch | None:
        """Return a branch whose tasks do not begin before ``held``; None past the best end."""
        while True:
            again = self.root()
            again.held = held
            for chain, place, _ in branch.order:
                late = self._place(again, chain)
                if again.end >= self.below or self.left <= 0:
                    return None
                if late > 0:
                    first = place - self.chains[chain][place].first
                    began = next(b for c, p, b in again.order if (c, p) == (chain, first))
                    held = {**held, (chain, first): began + late}
                    break
            else:
                return again

    def _place(self, branch: _Branch, chain: int) -> int:
        """Place the next stretch of a chain as early as can be; return minutes past its stop."""
        self.left -= 1
        place = branch.next_place[chain]
        stretch = self.chains[chain][place]
        begin = max(
            self._soonest(branch, chain, stretch),
            branch.free[stretch.agent],
            branch.held.get((chain, place), 0),
        )
        end = begin + stretch.hands_min
        branch.order.append((chain, place, begin))
        branch.next_place[chain] = place + 1
        branch.ready[chain] = branch.end = end
        aired = end + stretch.airing_min
        for agent in self.agents:
            clear = end if agent == stretch.agent != NOBODY else aired
            branch.free[agent] = max(branch.free[agent], clear)
        if not stretch.first:
            branch.first_end[chain] = end
            return 0
        return begin - branch.first_end[chain] - stretch.until_min


def _tails(chain: Sequence[Stretch]) -> list[int]:
    """Return the least time from the begin of each stretch to the end of its chain [min]."""
    tails = []
    for place in range(len(chain)):
        end = chain[place].hands_min
        first_end = end if not chain[place].first else None
        for stretch in chain[place + 1 :]:
            begin = end + stretch.rest_min
            if not stretch.first:
                end = first_end = begin + stretch.hands_min
                continue
            if first_end is not None:
                begin = max(begin, first_end + stretch.after_min)
            end = begin + stretch.hands_min
        tails.append(end)
    return tails
