"""Reads and checks what a shop brings: labour catalogue, price profile, policies, limits, cautions.

Each file has a ``check_…`` that names every fault at once and a ``load_…`` that returns the value or raises
``DataError`` with the same faults. File formats: DEVELOPERS.md, "Shop data", and ``shared/README.md``.
"""

from voicecheck.catalogue.cautions import check_cautions, load_cautions
from voicecheck.catalogue.limits import check_limits, load_limits
from voicecheck.catalogue.operations import check_catalogue, load_catalogue
from voicecheck.catalogue.policies import check_policies, load_policies
from voicecheck.catalogue.prices import check_prices, load_prices
from voicecheck.catalogue.shop import load_shop

__all__ = [
    "check_catalogue",
    "check_cautions",
    "check_limits",
    "check_policies",
    "check_prices",
    "load_catalogue",
    "load_cautions",
    "load_limits",
    "load_policies",
    "load_prices",
    "load_shop",
]
