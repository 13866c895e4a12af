"""A shop's own tables become its catalogue, prices and policies: read, mapped, checked, compared, replaced.

Nothing is guessed in silence and nothing is half-loaded: one fault, and the folder stays as it was.
"""

from voicecheck.bring.keep import Earlier, earlier_files, put_back
from voicecheck.bring.mapping import KINDS, Kind, load_mapping
from voicecheck.bring.report import faults_csv, report_lines
from voicecheck.bring.run import Outcome, bring_table
from voicecheck.bring.sketch import sketch

__all__ = [
    "KINDS",
    "Earlier",
    "Kind",
    "Outcome",
    "bring_table",
    "earlier_files",
    "faults_csv",
    "load_mapping",
    "put_back",
    "report_lines",
    "sketch",
]
