"""Values that glide: fades, the wipe's edge, the spotlight. Nothing on stage jumps."""

from __future__ import annotations


class Fader:
    """Moves from where it is to its target at a steady pace.

    Parameters
    ----------
    value : float
        To begin with.
    seconds : float
        Time for the way from 0 to 1.
    """

    def __init__(self, value: float, seconds: float) -> None:
        self.value = value
        self.target = value
        self._seconds = seconds

    @property
    def moving(self) -> bool:
        """Not there yet."""
        return self.value != self.target

    def go(self, target: float) -> None:
        """Glide there."""
        self.target = target

    def jump(self, value: float) -> None:
        """Be there at once."""
        self.value = self.target = value

    def step(self, seconds: float) -> bool:
        """So much time has gone by; True when it moved."""
        if not self.moving:
            return False
        most = seconds / self._seconds
        gap = self.target - self.value
        self.value = self.target if abs(gap) <= most else self.value + (most if gap > 0 else -most)
        return True
