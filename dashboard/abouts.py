"""Where the numbers of each page come from, in words."""

from __future__ import annotations

from dashboard.parts.sources import About

_SOLD = "Bodies sold, each once, by the day of the order."

ACCOUNTS = About("Each row of each file is in exactly one of these states, and they add up to what was read, or the load fails.")
CHANGES = About(
    "Every family, item, length, vehicle and upgrade is compared with the months before. So many comparisons would show a few changes "
    "by chance alone, and those are held down.",
    _SOLD,
)
CONVERSION = About(
    "Of all quotes, the share that had been ordered so many days after the quote. A quote that is still open counts only for the days "
    "that it has been open: it is neither won nor lost.",
    "Last revision of each job, by the day of the quote.",
)
DRIVERS = About(
    "How much an item adds to the mean body today, less what it added in the months before.",
    "Bodies sold; masses by scale, ticket or drawing.",
)
ESTIMATE = About(
    "What past bodies with these measures and items weighed, put together part by part. The range is as wide as it had to be for past "
    "bodies that the reckoning had not seen.",
    "Weighed bodies count most, then weighbridge tickets, then drawings with what drawings leave out.",
    ("estimate", "weigh", "interval"),
)
FAMILIES = About(
    "Layouts are compared by which groups of items stand on which side and place. Alike ones are gathered around a typical build; "
    "a layout and its mirror image count as one.",
    "Every body that was sold, once.",
)
GAPS = About("The share of rows of a quarter that say something in a column. An empty cell means not known, never zero.")
LEVERS = About(
    "Shorter bodies, lighter items, fewer of the same, things moved or left out, or a certified upgrade: the fewest changes after which "
    "every limit is kept with the wanted certainty.",
    "",
    ("authority",),
)
LIMITS = About(
    "The mass of everything on the vehicle, and its share on each axle, beside the maker's ratings. The bar is the range; the line is "
    "the rating.",
    "The job's own weighbridge ticket before the maker's figure; bodies as weighed, drawn or estimated.",
    ("basis", "lowest", "authority", "standing-still", "country"),
)
MARGINS = About(
    "A limit less everything on the vehicle. A job that was weighed when finished is taken at that; otherwise it is added up from the "
    "vehicle, what came off, and the bodies: weighed before drawn before estimated, and the list says which.",
    "Delivered jobs.",
    ("estimate", "weigh", "basis", "lowest", "authority"),
)
PAIRS = About(
    "How often two items stand in the same body, and how many times as often as if they had nothing to do with each other.",
    "All bodies handed over.",
)
PAYS = About("Medians of what was asked, what was left over and how long it took, over the jobs where that is written down.", "Jobs sold.")
RELIABILITY = About(
    "Every body was estimated by a model that had not seen it. If a range promises 9 of 10, nine of ten such bodies should lie in it; "
    "on the line is right, above it ranges are wider than need be, below it too narrow.",
    "Weighed bodies.",
    ("interval",),
)
SHARES = About(
    "Of all bodies sold in a quarter, the share that is of this family, has this item, and so on. The band says how far chance alone "
    "could have moved it: with few sales it is wide.",
    _SOLD,
)
SILHOUETTE = About(
    "The silhouette compares how near a body is to its own family with how near it is to the next one: 1 is clear-cut, "
    "0 is anybody's guess."
)
DOUBTS = About(
    "At each fit every reading is laid beside what the body's parts add up to by a model that had not seen it. The causes are guesses: "
    "pounds, a slipped digit, a tray weighed along, an item not written down. Nothing is dropped.",
    "Bodies with a mass on record.",
)
SUSPECTS = About(
    "A soft rule says look again: a mass that does not fit its parts, dates out of order, a list that seems short. Nothing is dropped.",
    "",
)
RIVALS = About(
    "The same bodies, estimated by this model and by simpler ways that had been shown the same past; smaller is better.",
    "Weighed bodies, each by a model that had not seen it.",
)
DRIFT = About(
    "Each newly weighed body's error, in units of the spread that was predicted for it, and its running mean. When the mean leaves the "
    "band, builds or scales have changed: fit anew, or look for the cause.",
    "Weighed bodies in the order of their dates.",
)
