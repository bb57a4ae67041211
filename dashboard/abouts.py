"""Where the numbers of each page come from, in words."""

from __future__ import annotations

from dashboard.parts.sources import About

_SOLD = "Bodies sold, each once, by the day of the order."

ACCOUNTS = About("Each row of each file is in exactly one of these states, and they add up to what was read, or the load fails.")
BODIES = About(
    "Every body that matches, at the last revision of its job, as it was handed in.", "A row a body; its job tells each file and line."
)
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
COVERED = About(
    "Between these lengths the model has seen weighed bodies; outside of them an estimate stands on the rules it learned inside.",
    "Bodies with a known mass.",
)
DIFFERENCE = About(
    "The same parts of both drafts side by side; parts that are alike in both are left out, and so is their uncertainty.",
    "",
    ("estimate",),
)
DRIVERS = About(
    "How much an item adds to the mean body today, less what it added in the months before.",
    "Bodies sold; masses by scale, ticket or drawing.",
)
ERRORS = About(
    "What an estimate said of a body that the model had not seen, less what the body weighed, over all bodies of a group.",
    "Weighed bodies, each by a model that had not seen it.",
)
ESTIMATE = About(
    "What past bodies with these measures and items weighed, put together part by part. The range is as wide as it had to be for past "
    "bodies that the reckoning had not seen.",
    "Weighed bodies count most, then weighbridge tickets, then drawings with what drawings leave out.",
    ("estimate", "weigh", "interval"),
)
EVIDENCE = About("How many bodies the fit took each kind of mass from.", "Bodies with a mass by scale, drawing or ticket.")
FAMILIES = About(
    "Layouts are compared by which groups of items stand on which side and place. Alike ones are gathered around a typical build; "
    "a layout and its mirror image count as one.",
    "Every body that was sold, once.",
)
FAMILY_CHANGES = About(
    "Families of this edition laid beside those of the one before: a family goes on where most of its bodies stayed together.",
    "Bodies that both editions hold.",
)
FAMILY_ITEMS = About(
    "The share of the family's bodies that have the item, and how many times as often that is as among all bodies of its kind.",
    "Every body of the family that was sold, once.",
)
GAPS = About("The share of rows of a quarter that say something in a column. An empty cell means not known, never zero.")
LEDGER = About("A row that could not be kept stands here with its place, the rule and the value, until a later hand-in mends it.")
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
LOADS = About(
    "Everything that is on the vehicle: what stays, what we build, what people bring. Each line says what its figure is based on.",
    "The records of the vehicle, the bodies and the travel load.",
    ("basis", "estimate"),
)
LOST = About("What was written down as the reason of a lost quote, as a share of all lost quotes of its group.", "Lost quotes.")
MARGINS = About(
    "A limit less everything on the vehicle. A job that was weighed when finished is taken at that; otherwise it is added up from the "
    "vehicle, what came off, and the bodies: weighed before drawn before estimated, and the list says which.",
    "Delivered jobs.",
    ("estimate", "weigh", "basis", "lowest", "authority"),
)
MASSES = About(
    "Finished masses of bodies handed over in a year, by steps of length; low and high hold 8 in 10 of them.",
    "Bodies with a mass by scale or drawing.",
)
NEAREST = About(
    "Weighed builds whose measures and items are most like the draft's; nothing is reckoned in these rows, they were on a scale.",
    "Weighed bodies of the same kind.",
)
PAIRS = About(
    "How often two items stand in the same body, and how many times as often as if they had nothing to do with each other.",
    "All bodies handed over.",
)
PAYS = About("Medians of what was asked, what was left over and how long it took, over the jobs where that is written down.", "Jobs sold.")
QUIET = About(
    "A quote counts as quiet once it has been open for longer than 9 of 10 orders of its kind took to come.",
    "Open quotes, last revision of each.",
)
RECORDS = About("As it was handed in, with the hand-in, the file and the line it came from.")
RELIABILITY = About(
    "Every body was estimated by a model that had not seen it. If a range promises 9 of 10, nine of ten such bodies should lie in it; "
    "on the line is right, above it ranges are wider than need be, below it too narrow.",
    "Weighed bodies.",
    ("interval",),
)
REVISED = About("How often an item was put in or taken out from one revision of a quote to the next.", "Jobs with more than one revision.")
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
SOLD = About(
    "Every body counts once, in the month of its order. What was brought in and the hours are those written on the jobs; "
    "jobs where nothing is written are left out, and the sentence says how many are known.",
    _SOLD,
)
SUSPECTS = About(
    "A soft rule says look again: a mass that does not fit its parts, dates out of order, a list that seems short. Nothing is dropped.",
    "",
)
TICKETS = About(
    "What the weighbridge printed, less what was added up for the same state of the vehicle from its parts.",
    "Tickets of finished and loaded vehicles.",
    ("basis",),
)
VEHICLES = About(
    "What vehicles weighed on the scale before anything was built on them, less the maker's figure.",
    "Weighbridge tickets.",
    ("basis",),
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
