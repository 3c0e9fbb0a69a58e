"""A site, and what can be wrong with naming one."""

from dataclasses import dataclass

from registry.errors import Conflict, Invalid, NotFound, on_constraint


@dataclass(frozen=True, slots=True)
class Site:
    """A plant with a register of its own."""

    site_id: int
    code: str
    name: str


class SiteUnknown(NotFound):
    """There is no such site"""

    slug = "site-unknown"


class SiteNotChosen(NotFound):
    """Several sites are here, and none was named"""

    slug = "site-not-chosen"


@on_constraint("site_code_unique")
class SiteExists(Conflict):
    """A site of that code is here already"""

    slug = "site-exists"


@on_constraint("site_code_form")
class SiteCodeUnfit(Conflict):
    """A site's code is small letters, digits and single hyphens"""

    slug = "site-code-unfit"


class TimeZoneUnknown(Invalid):
    """There is no such time zone"""

    slug = "time-zone-unknown"
