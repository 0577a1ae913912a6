"""The one caution that the index, the API page and the demonstration all show."""

CAUTION = (
    "brachium helps to keep records and gives no diagnosis. Its limits, reference ranges and "
    "side-difference thresholds are published or proposed figures to look things up by, not "
    "verdicts about a person. What a finding means and what is done about it is decided by "
    "licensed practitioners under their local protocols."
)
