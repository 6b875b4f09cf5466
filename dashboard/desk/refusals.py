"""What the desk refuses: each carries one plain sentence for the person who asked."""


class NothingToAssess(Exception):
    """The database has no vehicle, or no reading, to assess; the text says what to do."""


class PlanRefused(Exception):
    """No plan can be made; the text is one sentence that says why and what to do."""
