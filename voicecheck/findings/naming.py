"""Which component the words really name: the specific kind, the piece of a whole, the part just spoken of."""

from __future__ import annotations

from collections.abc import Iterable

from voicecheck.findings.items import Part
from voicecheck.findings.notes import Note
from voicecheck.findings.parts import head_words, singular
from voicecheck.findings.places import Place
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import WHEEL_END, Scene
from voicecheck.language.phrases import phrases_of

_NEAR = 2  # clauses back to which a bare "the belt" is the belt just spoken of
_DOES = "ing"  # how a word ends that tells what a part does
_TURN = 3  # tokens before a part in which "except" or "but" takes it out of what is fine
_MANY = 3  # parts that end with one word, from which that word alone names none of them


class Namer:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene) -> None:
        self._components = rules.lexicon.components
        self._measures = rules.lexicon.measures
        self._tree = rules.tree
        self._scene = scene
        lexicon = rules.lexicon
        self._turns = phrases_of(lexicon.grammar, "contrast") | {
            word for cue in lexicon.cues if cue.kind == "except" for word in cue.said.split()
        }

    def specific(self, part: Part) -> str:
        """The component id that a part's words mean: "boot on the tie rod end", "the lower one" of two
        joints.
        """
        at_wheel = self._at_wheel(part)
        if at_wheel is not None:
            return at_wheel
        told = self._of_several(part) or self._doing(part) or self._headed_again(part)
        component = told or self._as_spoken_before(part)
        if component == part.component and not part.wholes:
            component = self._beside(part) or component
        general = self._tree.is_general_piece(component)
        if not part.wholes:
            notes = self._scene.latest() if general else reversed(self._scene.recent)
            referred = self._referred(part, component, notes)
            if referred is not None:
                return referred
        component = self._tree.whole_set(self._measured_part(component))
        for whole in part.wholes or self._wholes_before(component):
            piece = self._tree.piece_of(component, whole)
            if piece:
                component = piece
                break
        qualifiers = sorted(set(Place.of(part.lead).qualifiers))
        return self._tree.kind_with(component, qualifiers) or component

    def _at_wheel(self, part: Part) -> str | None:
        """ "Right rear. Bearing's loud": a bare word of which one kind sits at every wheel is that one, where
        the talk is of the wheels, or of nothing yet.
        """
        bare = part.mark.last - part.mark.first == 1 and not part.wholes
        if not bare or self._components[part.component].places[:1] != ("corners",):
            return None
        kinds = [
            c
            for c in self._tree.children(part.component)
            if c.places[:1] == ("corners",) and (c.part_of is None or self._at_corners(c.part_of))
        ]
        if len(kinds) != 1 or not self._tree.is_general_piece(part.component):
            return None
        before = self._scene.recent[-1] if self._scene.recent else None
        if before is not None and before.component != kinds[0].id:
            if self._components[before.component].system not in WHEEL_END:
                return None
            owns = self._tree.piece_of(part.component, before.component)
            if owns not in (None, kinds[0].id) and not self._scene.around.located:
                return None
        return kinds[0].id

    def _of_several(self, part: Part) -> str | None:
        """ "The lights all work bar the number plate one", "all fluids are good but the power steering": the
        kind of what was just spoken of that is named after the part.
        """
        recent = [n for n in self._scene.standing if n.clause == self._scene.clause]
        if not recent or part.wholes or recent[-1].state != "ok":
            return None
        before = self._scene.tokens[max(0, part.mark.first - _TURN) : part.mark.first]
        if not any(token.text in self._turns for token in before):
            return None
        general = recent[-1].component
        heads = {singular(head_words(name)[-1]) for name in self._components[general].names}
        said = " ".join(t.text for t in self._scene.tokens[part.mark.first : part.mark.last])
        said = said.removesuffix("'s")
        for name in (said, *self._components[part.component].names):
            for kind in self._tree.family(general):
                names = self._components[kind].names
                if kind != general and any(f"{name} {head}" in names for head in heads):
                    return kind
        return None

    def _doing(self, part: Part) -> str | None:
        """ "Alternator ... it's charging at fourteen": what "it" does is no other part than the one it is."""
        mark = part.mark
        if mark.last - mark.first != 1 or not self._scene.tokens[mark.first].text.endswith(_DOES):
            return None
        standing = self._scene.standing
        if not any(m.detail == "pronoun" and m.last == mark.first for m in part.lead) or not standing:
            return None
        if standing[-1].says_something:
            return None  # "battery's good, and it's charging": the car
        before = standing[-1].component
        same = self._components[before].system == self._components[part.component].system
        return before if same else None

    def _at_corners(self, component: str) -> bool:
        return self._components[component].places[:1] == ("corners",)

    def _beside(self, part: Part) -> str | None:
        """ "rear wiper's dead. Could be the motor": one word that many parts end with, and no place of its
        own, is that of the part just spoken of.
        """
        if part.mark.last - part.mark.first != 1 or Place.of(part.lead).located:
            return None
        word = self._scene.tokens[part.mark.first].text
        if len(self._tree.headed(word)) < _MANY:
            return None
        system = self._components[part.component].system
        for note in reversed(self._scene.recent):
            if self._components[note.component].system == system:
                return None  # what the word means by itself is at hand
            near = self._scene.clause - note.last_told <= 1
            if near and not note.withdrawn and part.component not in self._tree.family(note.component):
                return self._tree.headed_beside(word, note.component)
        return None

    def _headed_again(self, part: Part) -> str | None:
        """ "Seat belt's frayed. New belt.": a bare piece that ends a name of the part just spoken of is that
        part; so is any last word of its name in an order for work ("expansion tank ... replace the tank").
        """
        if part.mark.last - part.mark.first != 1:
            return None
        general = self._tree.is_general_piece(part.component)
        if part.wholes or Place.of(part.lead).located:
            return None
        said = singular(self._scene.tokens[part.mark.first].text)
        for note in reversed(self._scene.recent):
            near = self._scene.clause - note.last_told <= _NEAR
            if note.withdrawn or not near or note.component == part.component:
                continue
            if not general and not self._is_remedy(part, note):
                continue
            if any(" " in name and singular(head_words(name)[-1]) == said for name in self._names(note)):
                return note.component
        return None

    def _names(self, note: Note) -> tuple[str, ...]:
        return self._components[note.component].names

    def _as_spoken_before(self, part: Part) -> str:
        """ "coil spring ... the bottom coil", "door mirror glass ... a new glass": one word of a name just
        said.
        """
        if part.mark.last - part.mark.first != 1:
            return part.component
        said = self._scene.tokens[part.mark.first].text.removesuffix("'s")
        forms = {said, said.removesuffix("s")}
        entry = self._components[part.component]
        for note in reversed(self._scene.recent):
            before = self._components[note.component]
            near = note.clause == self._scene.clause or self._is_remedy(part, note)
            if not near or before.id == entry.id:
                continue
            words = before.name.split()
            elsewhere = entry.system != before.system or words[-1] in forms
            if len(words) > 1 and forms & set(words) and elsewhere:
                return before.id
        return entry.id

    def _is_remedy(self, part: Part, note: Note) -> bool:
        """ "Idler arm's got slop. Replace the idler.": work ordered right after a fault that has none yet."""
        ordered = any(m.kind == "action" or m.detail == "advice" for m in part.lead)
        open_fault = note.state in ("defect", "missing") and note.action is None and not note.withdrawn
        return ordered and open_fault and self._scene.clause - note.last_told <= 1

    def _referred(self, part: Part, component: str, notes: Iterable[Note]) -> str | None:
        """ "replace the line" after the cooler line is that line; "the boots" are all of their kind."""
        for note in notes:
            line = self._tree.line(note.component)
            if note.withdrawn or note.component == component or component not in line:
                continue
            if not self._scene.tokens[part.mark.last - 1].text.endswith("s"):
                return note.component
            if self._components[component].advice == "service":
                continue  # "the fluids are all full": every one
            nearest = line.index(component) - 1
            if nearest > 0:
                return line[nearest]
            return note.component if self._tree.is_general_piece(component) else component
        return None

    def _measured_part(self, component: str) -> str:
        """ "Pressures. Left front thirty three": what only names a reading stands for the part that has
        it.
        """
        name = self._components[component].name
        for term in self._measures.values():
            if term.name == name and term.fits[0] in self._components:
                return term.fits[0]
        return component

    def _wholes_before(self, component: str) -> list[str]:
        """For a bare piece: the part last spoken of, and what that is a part of."""
        if not self._tree.is_general_piece(component) or not self._scene.recent:
            return []
        before = self._components[self._scene.recent[-1].component]
        return [before.id, *([before.part_of] if before.part_of else [])]
