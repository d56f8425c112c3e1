"""The order in which the small test scores are played, worked out by hand.

Each bar of these scores holds one long note; the order of their letters is the order of the bars.
"""

ORDERS = {
    "repeat-times": "C D C D C D E",
    "repeat-without-start": "C C D D E",
    "endings": "C D C E F",
    "endings-list": "C D C D C E F",
    "ending-alone": "C D C E",
    "da-capo-al-fine": "C D E F C D",
    "da-capo-in-words": "C D C D E C D",
    "da-capo-endings": "C D C E F C E",
    "dal-segno-al-coda": "C D E F D E G A",
    "dal-segno-in-signs": "C D E F D E G",
    "dal-segno-names": "C D E C D",
    "time-only": "C D E C D G",
    "after-jump": "C D C D E C D C D E",
    "barline-signs": "C D E D F",
    "forward-repeat-sound": "C D D E",
    "dal-segno-without-segno": "C D C D",
    "tocoda-before-bar": "C D E C F",
    "split-bar": "C D C D E F",
    "mid-bar-repeat": "C D C D E F",
}
