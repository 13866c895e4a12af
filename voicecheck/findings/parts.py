"""How the lexicon's parts hang together: kinds of a part, pieces of a whole."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.lexicon.inflect import HEAD_ENDS
from voicecheck.lexicon.model import Component, Lexicon

_FEW = 3  # a name with more kinds than this says too little by itself


def singular(word: str) -> str:
    """A word without its plural or possessive ending."""
    return word.removesuffix("'s").removesuffix("s")


def head_words(name: str) -> list[str]:
    """The words of a name down to the noun that it is about: "rubber boot" of "rubber boot on the axle"."""
    words = name.split()
    return words[: next((at for at, word in enumerate(words) if at and word in HEAD_ENDS), len(words))]


def is_compound(name: str) -> bool:
    """Whether the first word tells what the part belongs to, as in "axle boot", not in "boot on the axle"."""
    return HEAD_ENDS.isdisjoint(name.split())


class PartTree:
    """The kind-of and part-of links of a lexicon, walked once. All methods take and return component ids."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._components = lexicon.components
        self._lines = {id_: self._climb(id_) for id_ in lexicon.components}
        children: dict[str, list[Component]] = {}
        under: dict[str, list[Component]] = {}
        for entry in lexicon.components.values():
            if entry.kind_of is not None:
                children.setdefault(entry.kind_of, []).append(entry)
            for general in self._lines[entry.id]:
                under.setdefault(general, []).append(entry)
        self._children = {general: tuple(entries) for general, entries in children.items()}
        self._under = {general: tuple(entries) for general, entries in under.items()}
        self._by_head: dict[str, list[Component]] = {}
        for entry in lexicon.components.values():
            heads = {singular(head_words(name)[-1]) for name in entry.names if " " in name}
            for head in sorted(heads):
                self._by_head.setdefault(head, []).append(entry)
        self._piece_names = frozenset(
            general
            for entry in lexicon.components.values()
            if entry.part_of
            for general in self._lines[entry.id][1:]
        )

    def headed(self, word: str) -> tuple[Component, ...]:
        """The parts of which a name of several words ends with ``word``: all the motors, all the caps."""
        return tuple(self._by_head.get(singular(word), ()))

    def headed_beside(self, word: str, told: str) -> str | None:
        """The part that a bare ``word`` means where ``told`` was just spoken of: the motor of the wiper.

        It is a part of the one told, or both their names begin alike. ``None`` where none or several fit.
        """
        family = self.family(told)
        entry = self._components[told]
        firsts = {name.split()[0] for name in entry.names if is_compound(name)} - set(entry.place)
        owned = [c for c in self.headed(word) if c.part_of in family and c.id not in family]
        akin = [
            c
            for c in self.headed(word)
            if c.system == entry.system
            and c.id not in family
            and any(" " in name and is_compound(name) and name.split()[0] in firsts for name in c.names)
        ]
        for found in (owned, akin):
            kinds = {c.id for c in found}
            plain = [c for c in found if c.kind_of not in kinds]  # the rear wiper motor is a wiper motor
            named = [c for c in plain if singular(head_words(c.name)[-1]) == singular(word)]
            if len(plain) == 1 or len(named) == 1:
                return (plain if len(plain) == 1 else named)[0].id
        return None

    def _climb(self, component: str) -> tuple[str, ...]:
        found = [component]
        while (parent := self._components[found[-1]].kind_of) is not None and parent not in found:
            found.append(parent)
        return tuple(found)

    def line(self, component: str) -> tuple[str, ...]:
        """The part, then what it is a kind of, ever more general."""
        return self._lines[component]

    def children(self, component: str) -> tuple[Component, ...]:
        """The parts that are directly a kind of this one, in the order of the term files."""
        return self._children.get(component, ())

    def family(self, component: str) -> frozenset[str]:
        """The part, all its kinds, and all that it is a kind of."""
        return frozenset((*self._lines[component], *(c.id for c in self._under[component])))

    def same_line(self, a: str, b: str) -> bool:
        """Whether one of the two is the other, or a kind of it."""
        return a in self._lines[b] or b in self._lines[a]

    def related(self, a: str, b: str) -> bool:
        """The same part, or one named more generally; a bare "seal" or "boot" is no name for every seal."""
        if a == b:
            return True
        general = a if a in self._lines[b] else b if b in self._lines[a] else None
        return general is not None and general not in self._piece_names

    def is_general_piece(self, component: str) -> bool:
        """A bare "boot", "seal", "bushing": general, and the kind of some part's piece."""
        children = self.children(component)
        return len(children) > _FEW or any(child.part_of is not None for child in children)

    def is_collective(self, component: str) -> bool:
        """Whether the name takes in parts of several kinds: "brakes", "the lights", "suspension"."""
        entry = self._components[component]
        return entry.id == entry.system or (len(self.children(component)) > _FEW and entry.part_of is None)

    def is_whole_of(self, whole: str, piece: str) -> bool:
        """Whether the piece belongs to the whole by its part-of links or those of what it is a kind of."""
        seen: set[str] = set()
        queue = [piece]
        while queue:
            entry = self._components[queue.pop()]
            if entry.part_of == whole and whole not in seen:
                return True
            for parent in (entry.part_of, entry.kind_of):
                if parent is not None and parent not in seen:
                    seen.add(parent)
                    queue.append(parent)
        return False

    def belongs(self, piece: str, whole: str) -> bool:
        """Whether the piece is a part of the whole, or named after it: the window regulator of the window."""
        if self.is_whole_of(whole, piece):
            return True
        entry, other = self._components[whole], self._components[piece]
        words = entry.name.split()
        return other.name.split()[: len(words)] == words and other.id != entry.id

    def piece_of(self, piece: str, whole: str) -> str | None:
        """The kind of ``piece`` that belongs to ``whole``: the boot of the tie rod end, the fluid of the
        brakes.
        """
        family = self.family(whole)
        entry = self._components[whole]
        words = entry.name.split()
        named: str | None = None
        akin: str | None = None
        for other in self._under[piece]:
            if other.id == piece:
                continue
            if other.part_of in family:
                return other.id
            if named is None and other.name.startswith((f"{entry.name} ", f"{singular(entry.name)} ")):
                named = other.id  # "differential fluid" of the differential
            first = other.name.split()[:-1]
            if akin is None and first and first == words[: len(first)]:
                akin = other.id  # "power steering fluid" by the power steering hose
        if named is None and akin is None and self._components[piece].advice == "service":
            same = [child.id for child in self.children(piece) if child.system == entry.system]
            akin = same[0] if len(same) == 1 else None  # the only fluid of the brakes
        return named or akin

    def kind_with(self, component: str, qualifiers: Sequence[str]) -> str | None:
        """The kind of the part that the qualifiers name: the upper one of "ball joint", or of the lower
        one.
        """
        if self._components[component].sets == "axle set":
            return None  # inner and outer pad are readings of one set, and are sold as one
        return self._qualified(component, qualifiers) or self.sibling(component, qualifiers)

    def sibling(self, component: str, qualifiers: Sequence[str]) -> str | None:
        """The upper one for the lower: another kind of the same part that carries the qualifier in its
        name.
        """
        entry = self._components[component]
        if not entry.place or entry.kind_of is None or not qualifiers or set(qualifiers) & set(entry.place):
            return None
        return self._qualified(entry.kind_of, qualifiers, besides=component)

    def _qualified(self, general: str, qualifiers: Sequence[str], *, besides: str = "") -> str | None:
        for child in self.children(general):
            if child.id != besides and child.place and set(child.place) <= set(qualifiers):
                return child.id
        return None

    def whole_set(self, component: str) -> str:
        """The inner pad is a pad of the set: what is said of it is said of the set, at its inner place."""
        entry = self._components[component]
        parent = self._components.get(entry.kind_of or "")
        if entry.place and parent is not None and entry.sets == parent.sets == "axle set":
            return parent.id
        return component
