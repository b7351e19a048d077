"""What a round refuses, in sentences a person can act on."""

from __future__ import annotations

from typing import Self

from testround.kernel.problems import InputProblems, Problem


class Refused(InputProblems):
    """A change that was not made. Each problem's path is the form field it belongs to, or empty."""

    @classmethod
    def because(cls, sentence: str, field: str = "") -> Self:
        return cls([Problem(field, sentence)])

    @property
    def sentence(self) -> str:
        return " ".join(problem.sentence for problem in self.problems)


class UnknownInvitation(LookupError):
    """No invitation has that secret."""


class InvitationEnded(Refused):
    """The link was good once: it has been used, withdrawn, or has run out."""


class AddressHasAccount(Refused):
    """Somebody without a session gave the address of an existing account; a link never opens that account."""


class UnknownOffer(LookupError):
    """No link to an offer has that secret."""


class OfferEnded(Refused):
    """The link, the offer or the call was good once, and is over."""
