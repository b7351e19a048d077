from allauth.usersessions.apps import UserSessionsConfig


class SessionsConfig(UserSessionsConfig):
    """The library's table of sessions, without its own bookkeeping, which would keep whole addresses.

    What is noted of a session, and when, is in `people.sessions`.
    """

    def ready(self) -> None:
        pass
