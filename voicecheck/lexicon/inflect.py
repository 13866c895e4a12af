"""Regular English singular and plural of one lower-case noun. Spelling rules only."""

from __future__ import annotations

_VOWELS = "aeiou"
# Nouns whose singular ends in a bare s and that no rule tells from a plural.
_BARE_S = frozenset({"lens", "gas", "bus", "abs", "bias", "canvas", "axis", "chassis"})
# A noun phrase has its head before these: "boots of the rack", not "boot of the racks".
HEAD_ENDS = frozenset({"of", "for", "on", "in", "at", "to", "from", "with"})


def plural(noun: str) -> str:
    """The regular plural ("bushing" → "bushings", "switch" → "switches", "body" → "bodies")."""
    if noun.endswith(("s", "x", "z", "ch", "sh")):
        return noun + "es"
    if noun.endswith("y") and len(noun) > 2 and noun[-2] not in _VOWELS:
        return noun[:-1] + "ies"
    return noun + "s"


def is_plural(noun: str) -> bool:
    """Whether the word looks like a regular plural."""
    return (
        len(noun) > 3
        and noun.endswith("s")
        and not noun.endswith(("ss", "us", "is", "'s"))
        and noun not in _BARE_S
    )


def singulars(noun: str) -> tuple[str, ...]:
    """The singulars a regular plural may have ("boxes" → "box"); none for what is no plural."""
    if not is_plural(noun):
        return ()
    if noun.endswith("ies") and len(noun) > 4:
        return (noun[:-3] + "y",)
    if noun.endswith(("sses", "xes", "zzes", "ches", "shes")) or noun[:-2] in _BARE_S:
        return (noun[:-2],)
    if noun.endswith("uses"):
        return (noun[:-2], noun[:-1])  # buses, fuses: both are tried
    return (noun[:-1],)


def number_forms(noun: str) -> tuple[str, ...]:
    """The word, and its other number: both directions are tried only where spelling allows them."""
    if not noun.isalpha() or len(noun) < 2:
        return (noun,)
    other = singulars(noun) if is_plural(noun) else (plural(noun),)
    return tuple(dict.fromkeys((noun, *other)))
