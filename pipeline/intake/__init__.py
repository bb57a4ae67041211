"""Files to tables of text in which every cell still knows where it stood. Nothing is cast here."""

from pipeline.intake.find import find_hand_ins
from pipeline.intake.read import read_hand_in
from pipeline.intake.texttable import HandIn, PlainCsv, Ragged, SourceFile, TextTable

__all__ = ["HandIn", "PlainCsv", "Ragged", "SourceFile", "TextTable", "find_hand_ins", "read_hand_in"]
