"""What the pages call the values of a choice and its fields, to be said in the visitor's language."""

from __future__ import annotations

from quoting.languages import message

VALUES: dict[str, str] = {
    "words to set": message("words that you set by hand for me"),
    "finished artwork": message("my artwork"),
    "same as last time": message("the same as last time"),
    "own plate": message("a plate of mine"),
    "to be made ready": message("a file that still needs some work"),
    "ready": message("a file ready to make a plate of"),
    "to be designed": message("please design it"),
    "kiss": message("light, hardly to be felt"),
    "visible": message("to be seen and felt"),
    "deep": message("deep"),
    "flat": message("not folded"),
    "long edge": message("along the long edge"),
    "short edge": message("along the short edge"),
    "square": message("square"),
    "rounded": message("rounded"),
    "advise me": message("please advise me"),
    "collect": message("I collect it"),
    "own size": message("a size of my own"),
}

FIELDS: dict[str, str] = {
    "quantities": message("Quantity"),
    "size": message("Size"),
    "own_size": message("Your size"),
    "stock": message("Paper or board"),
    "folded": message("Folded"),
    "impression": message("Impression"),
    "corners": message("Corners"),
    "edges": message("Painted edges"),
    "extras": message("Finish"),
    "pieces": message("With it, in each set"),
    "envelope": message("Envelope"),
    "needed_by": message("Needed by"),
    "rush": message("Hurry it if it must be"),
    "delivery": message("Delivery"),
    "delivery.to": message("Where to"),
    "contact.name": message("Name"),
    "contact.email": message("E-mail"),
    "contact.company": message("Company"),
    "contact.address": message("Address"),
    "notes": message("Anything else we should know"),
}

SIDES: dict[str, str] = {"front": message("Front"), "back": message("Back"), "envelope.front": message("Envelope")}

OF_A_SIDE: dict[str, str] = {
    "inks": message("First colour"),
    "printed_from": message("Printed from"),
    "lines": message("Your words"),
    "fount": message("Typeface"),
    "coverage": message("How much of it prints"),
    "artwork": message("Your artwork"),
    "artwork_file": message("Your file"),
    "plate.size": message("Size of your plate"),
    "plate.thickness": message("How thick it is, with its mount"),
}

STATES: dict[str, str] = {
    "received": message("We have your request and shall answer it."),
    "open": message("Open: accept or decline it here."),
    "expired": message("It has run out. Please ask us again."),
    "replaced": message("A newer one has taken its place."),
    "accepted": message("You have accepted it. Thank you."),
    "declined": message("You have declined it."),
    "withdrawn": message("We have withdrawn it."),
    "erased": message("It is kept no longer."),
}
