"""Names with one letter wrong: one letter another, one missing, one too many, or two neighbours swapped."""

from __future__ import annotations

# Any two words of two letters are nearly alike; beside a word that fits, two letters still tell something.
LEAST_ALONE = 3
LEAST_BESIDE = 2
# Of a word that is still being typed, less than this says too little once a letter of it is doubted.
LEAST_BEGUN = 5
LONGEST_WORD = 40


def pieces(word: str) -> frozenset[str]:
    """The word, and what is left of it when any one letter is taken out.

    Two words that are one letter apart have a piece in common; so have some that are not, which `within_one` tells.
    """
    return frozenset((word, *(word[:at] + word[at + 1 :] for at in range(len(word)))))


def within_one(one: str, other: str) -> bool:
    """Whether two words are the same or one slip apart: a letter replaced, left out, put in, or two neighbours swapped."""
    short, long = sorted((one, other), key=len)
    if len(long) - len(short) > 1:
        return False
    at = next((place for place, letter in enumerate(short) if letter != long[place]), len(short))
    if len(short) < len(long):
        return short[at:] == long[at + 1 :]
    swapped = short[at + 1 : at + 2] + short[at : at + 1] + short[at + 2 :]
    return short[at + 1 :] == long[at + 1 :] or swapped == long[at:]


def begins_within_one(word: str, begun: str) -> bool:
    """Whether some beginning of a word is one slip at most from what was typed of it so far."""
    return any(within_one(word[:size], begun) for size in range(len(begun) - 1, len(begun) + 2))


def least(words: int) -> int:
    """The letters that a word must have to be looked for with one of them wrong, in a name of so many words."""
    return LEAST_ALONE if words == 1 else LEAST_BESIDE


def is_near(name: str, key: str) -> bool:
    """Whether a folded name fits a folded key in which one word has one letter wrong.

    The other words of the key begin words of the name, in the same order; the last may be near a beginning, too.
    """
    typed = key.split()
    return any(_fits(name.split(), typed, at) for at, word in enumerate(typed) if len(word) >= least(len(typed)))


def _fits(words: list[str], typed: list[str], wrong: int) -> bool:
    left = iter(words)
    return all(any(_meets(word, typed, at, wrong) for word in left) for at in range(len(typed)))


def _meets(word: str, typed: list[str], at: int, wrong: int) -> bool:
    asked = typed[at]
    if at != wrong:
        return word.startswith(asked)
    is_begun = at == len(typed) - 1 and len(asked) >= LEAST_BEGUN
    return within_one(word, asked) or (is_begun and begins_within_one(word, asked))
