"""The three ways a request can fail."""


class WashsimError(Exception):
    """Any failure that is told to the user in one sentence."""


class InputError(WashsimError):
    """Something the user wrote cannot be used: where, what it is, what was expected."""


class DataError(WashsimError):
    """A table that ships with the product is missing or broken."""
