"""The shop data of the moment in which an estimate was issued, by its name; a few are kept in memory."""

from __future__ import annotations

import threading
from collections import OrderedDict

from voicecheck.desk.estimator import Estimator
from voicecheck.lexicon import Lexicon
from voicecheck.records import Market, ShopData
from voicecheck.store.media import MediaStore

_KEPT = 8


class PinnedShops:
    """Estimators over shop data that was put into the media store when something was issued."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, Market], Estimator] = OrderedDict()

    def estimator(self, media: MediaStore, key: str, *, lexicon: Lexicon, market: Market) -> Estimator:
        """The estimator over the shop data ``key``. Raises ``NotThereError`` where its file is gone."""
        with self._lock:
            kept = self._kept.get((key, market))
            if kept is None or kept.lexicon is not lexicon:
                shop = ShopData.model_validate_json(media.read(key))
                kept = Estimator(lexicon=lexicon, shop=shop, market=market)
            self._kept[key, market] = kept
            self._kept.move_to_end((key, market))
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
            return kept
