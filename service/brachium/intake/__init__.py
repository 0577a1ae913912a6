"""One exam in: checked, assessed, coded, stored; and what may happen to it later."""

from brachium.intake.intake import Intake

__all__ = ["Intake"]
