"""Pure clinical computation on a checked exam: reference judgement and side differences."""
