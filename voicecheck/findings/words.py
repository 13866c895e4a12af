"""The single words that the rules look at by themselves, from ``lexicon/grammar.csv``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from voicecheck.language.phrases import phrases_of
from voicecheck.lexicon.model import Lexicon


class Words(NamedTuple):
    """Sets of normalised wordings by what they do; grammar kinds of the same names."""

    time: frozenset[str]  # "when the pump's in"
    therefore: frozenset[str]  # "..., so alignment"
    absence: frozenset[str]  # "no fire extinguisher"
    stand_in: frozenset[str]  # "needs one"
    passive: frozenset[str]  # "be replaced": advice in a past form
    causative: frozenset[str]  # "have it welded": advice in a past form
    past_ending: tuple[str, ...]  # of action words that tell what was done
    testing: frozenset[str]  # "tested fine": no advice to find out
    definite: frozenset[str]  # "the noise"
    copula: frozenset[str]  # "is blown": no word of the fault itself
    pair_pronoun: frozenset[str]  # "both of those": two parts, not two places
    pair_word: frozenset[str]  # "do the pair": the advice is for both sides
    doing: frozenset[str]  # "wants doing": the work that the part usually gets
    rated_of: frozenset[str]  # "480 out of 650"
    recount: frozenset[str]  # "eleven nine, no, twelve one"
    small_piece: frozenset[str]  # "the boot's split": a condition of the part it is on
    order_lead: frozenset[str]  # "give it a hose": what stands before a part that is ordered
    order_trail: frozenset[str]  # "get a belt on it": what stands behind a part that is ordered
    working: frozenset[str]  # "but it works": what is damaged may do so
    still: frozenset[str]  # "rusty, still solid": a judgement that stands over the one before
    instead: frozenset[str]  # "could just be the tire": another cause of what was told
    afterwards: frozenset[str]  # "then recharge it": work that comes after the one advised
    refits: frozenset[str]  # "put it back on": no new part
    sums_up: frozenset[str]  # "to sum up": what is only named after it is ordered
    beside: frozenset[str]  # "above the rack there's a wet spot": a place to look at
    there: frozenset[str]  # "there's": what follows is at the place just said
    leads_list: frozenset[str]  # "so that's pads and rotors": the same before two parts and more

    @classmethod
    def of(cls, lexicon: Lexicon) -> Words:
        """The words of a lexicon; a kind without rows is an empty set."""
        return cls(
            time=phrases_of(lexicon.grammar, "time"),
            therefore=phrases_of(lexicon.grammar, "therefore"),
            absence=phrases_of(lexicon.grammar, "absence"),
            stand_in=phrases_of(lexicon.grammar, "stand_in"),
            passive=phrases_of(lexicon.grammar, "passive"),
            causative=phrases_of(lexicon.grammar, "causative"),
            past_ending=tuple(sorted(phrases_of(lexicon.grammar, "past_ending"))),
            testing=phrases_of(lexicon.grammar, "testing"),
            definite=phrases_of(lexicon.grammar, "definite"),
            copula=phrases_of(lexicon.grammar, "copula"),
            pair_pronoun=phrases_of(lexicon.grammar, "pair_pronoun"),
            pair_word=phrases_of(lexicon.grammar, "pair_word"),
            doing=phrases_of(lexicon.grammar, "doing"),
            rated_of=phrases_of(lexicon.grammar, "rated_of"),
            recount=phrases_of(lexicon.grammar, "recount"),
            small_piece=phrases_of(lexicon.grammar, "small_piece"),
            order_lead=phrases_of(lexicon.grammar, "order_lead"),
            order_trail=phrases_of(lexicon.grammar, "order_trail"),
            working=phrases_of(lexicon.grammar, "plural_verb"),
            still=phrases_of(lexicon.grammar, "still"),
            instead=phrases_of(lexicon.grammar, "instead"),
            afterwards=phrases_of(lexicon.grammar, "afterwards"),
            refits=phrases_of(lexicon.grammar, "refits"),
            sums_up=phrases_of(lexicon.grammar, "sums_up"),
            beside=phrases_of(lexicon.grammar, "beside"),
            there=phrases_of(lexicon.grammar, "there"),
            leads_list=phrases_of(lexicon.grammar, "leads_list"),
        )


def joined(texts: Sequence[str]) -> str:
    """Token texts as one phrase, to be looked up in a set of ``Words``."""
    return " ".join(texts)
