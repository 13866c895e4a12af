"""From term folders to a ``Lexicon``."""

from __future__ import annotations

from itertools import chain
from pathlib import Path

from voicecheck.lexicon.check import problems_between
from voicecheck.lexicon.extras import ShopLexicon, WordForms
from voicecheck.lexicon.folder import read_layers
from voicecheck.lexicon.model import ActionTerm
from voicecheck.records.errors import DataError
from voicecheck.records.vocabulary import Market


def load_lexicon(base: Path, overlay: Path | None = None, *, market: Market = "US") -> ShopLexicon:
    """The lexicon of the term files in ``base``, with a shop's ``overlay`` folder laid over them.

    ``market`` settles which component owns a name that two markets use differently. Raises ``DataError``
    with all problems (warnings too) if any of them is an error.
    """
    merged, problems = read_layers(base, overlay)
    errors = [p for p in problems_between(merged, problems, errors_only=True) if p.severity == "error"]
    if errors:
        problems = problems_between(merged, problems)
        more = f" and {len(errors) - 1} more" if len(errors) > 1 else ""
        raise DataError(
            f"The term files cannot be used: {errors[0]}{more}.",
            problems=problems,
            hint="“voicecheck lexicon check” names all faults.",
        )
    actions: dict[str, ActionTerm] = {}
    for action in chain.from_iterable(layer.actions for layer in merged.layers):
        known = actions.get(action.term.action, action.term.model_copy(update={"said": ()}))
        said = tuple(dict.fromkeys(known.said + action.term.said))
        actions[action.term.action] = known.model_copy(update={"said": said})
    layers = merged.layers
    return ShopLexicon(
        market=market,
        components={id_: c.term for id_, c in merged.components.items()},
        conditions={id_: c.term for id_, c in merged.conditions.items()},
        actions=tuple(actions.values()),
        places=tuple(p.term for layer in layers for p in layer.places),
        cues=tuple(c.term for layer in layers for c in layer.cues),
        measures={id_: m.term for id_, m in merged.measures.items()},
        grammar=tuple(g.term for layer in layers for g in layer.grammar),
        forms=WordForms(
            spellings=tuple(s.term for layer in layers for s in layer.spellings),
            contractions=tuple(c.term for layer in layers for c in layer.contractions),
        ),
        hot=tuple(h.term for layer in reversed(layers) for h in layer.hot),  # the shop's own first
        sounds=tuple(s.term for layer in layers for s in layer.sounds),  # the shop's own last: it counts
    )
