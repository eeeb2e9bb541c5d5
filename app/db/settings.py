"""The names under which the program itself keeps something among the room's settings, where more than one room reads them."""

# Before the mark of a browser that was signed out; the value is when.
SIGNED_OUT = "signed out "
