"""Settings of who may see what, once people sign in."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

RoleName = Literal["manager", "engineer", "sales", "customer-screen"]


class AccessSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """Who is who; it counts from the moment that signing in is configured."""

    people: Annotated[
        dict[str, RoleName],
        Meta(description="role by e-mail address, as `'ada@example.org' = 'engineer'` (manager, engineer, sales, customer-screen)"),
    ] = field(default_factory=dict)
    session_minutes: Annotated[
        float, Meta(gt=0, description="a sign-in is asked for again after so many minutes, whatever the token says")
    ] = 720.0
