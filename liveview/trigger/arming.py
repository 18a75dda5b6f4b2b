"""The arming state machine: from spots to events. Pure; fed with spots and stream times."""

from __future__ import annotations

from dataclasses import dataclass

from liveview.model import ArmState, Spotted


@dataclass(frozen=True, slots=True)
class Begin:
    """An event begins; frames from ``since_s`` on belong to it."""

    spotted: Spotted
    since_s: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A further spark inside the present event."""

    spotted: Spotted


@dataclass(frozen=True, slots=True)
class End:
    """The event is over: frames up to ``until_s`` belong to it."""

    complete: bool
    until_s: float


Action = Begin | Mark | End


@dataclass(frozen=True, slots=True)
class Rules:
    """What the state machine needs of the settings, seconds."""

    pre_trigger_s: float = 1.0
    post_trigger_s: float = 2.0
    refractory_s: float = 0.05
    longest_event_s: float = 20.0
    learn_s: float = 2.0
    again: bool = True


class Arming:
    """Joins sparks into events.

    ::

        off --arm--> learning --learn_s over--> armed --spot--> catching
         ^              ^                         ^                |
         |              '--learn again            '--over, again---|
         '--disarm (from any, ends an event)----------over, single-'

    ``relearn`` leads from armed back to learning, from catching after its event.

    While catching, each spark is marked and puts the end off to ``post_trigger_s`` after it, up to
    ``longest_event_s`` after the first. For ``refractory_s`` after an event's end no new one
    begins, except by hand. A spark that was over before the machine was armed begins nothing.
    A trigger by hand works in every state; from ``off`` it returns there.

    Times are stream times (of the newest frame or sound heard), which must not run backwards;
    a smaller one is taken as the largest so far.
    """

    def __init__(self, rules: Rules) -> None:
        self._rules = rules
        self._state = ArmState.OFF
        self._afterwards = ArmState.OFF
        self._now_s = float("-inf")
        self._armed_s = 0.0
        self._quiet_until_s = float("-inf")
        self.background_known = True
        """Learning does not end before this is true, however long it takes."""
        self._first_s = 0.0
        self._since_s = 0.0
        self._end_s = 0.0

    @property
    def state(self) -> ArmState:
        """Where it stands."""
        return self._state

    @property
    def until_s(self) -> float | None:
        """When the present event ends unless another spark comes; None when there is none."""
        return self._end_s if self._state is ArmState.CATCHING else None

    @property
    def since_s(self) -> float | None:
        """First moment that belongs to the present event; None when there is none."""
        return self._since_s if self._state is ArmState.CATCHING else None

    @property
    def learnt(self) -> float:
        """How much of the learning is done, 0..1."""
        if self._state is not ArmState.LEARNING:
            return 1.0
        if self._rules.learn_s <= 0:
            return 1.0
        return min(max((self._now_s - self._armed_s) / self._rules.learn_s, 0.0), 1.0)

    def set_rules(self, rules: Rules) -> None:
        """Change the rules; an event under way keeps the end it has until its next spark."""
        self._rules = rules

    def arm(self, now_s: float, *, learn: bool = True) -> tuple[Action, ...]:
        """Arm, learning the quiet first unless ``learn`` is False. While catching: after it."""
        actions = self.tick(now_s)
        wanted = ArmState.LEARNING if learn else ArmState.ARMED
        if self._state is ArmState.CATCHING:
            if self._afterwards is not ArmState.LEARNING:
                self._afterwards = ArmState.ARMED
        else:
            self._state = wanted
            self._armed_s = self._now_s
            self._quiet_until_s = self._now_s
        return actions

    def relearn(self, now_s: float) -> tuple[Action, ...]:
        """What was learnt no longer holds: learn anew, after an event under way."""
        actions = self.tick(now_s)
        if self._state is ArmState.CATCHING:
            if self._afterwards is ArmState.ARMED:
                self._afterwards = ArmState.LEARNING
        elif self._state is not ArmState.OFF:
            self._state = ArmState.LEARNING
            self._armed_s = self._now_s
        return actions

    def disarm(self, now_s: float) -> tuple[Action, ...]:
        """Off. An event under way ends here, cut short."""
        actions = self.tick(now_s)
        if self._state is ArmState.CATCHING:
            actions += (End(False, min(self._now_s, self._end_s)),)
        self._state = self._afterwards = ArmState.OFF
        return actions

    def spot(self, spotted: Spotted, now_s: float) -> tuple[Action, ...]:
        """A detector saw a spark (possibly a little while ago)."""
        actions: tuple[Action, ...] = ()
        if self._state is ArmState.CATCHING and spotted.time_s <= self._end_s:
            actions = self._extend(spotted)
            return actions + self.tick(max(now_s, spotted.time_s))
        actions = self.tick(max(now_s, spotted.time_s))
        if self._state is not ArmState.ARMED or spotted.time_s < self._quiet_until_s:
            return actions
        return actions + self._begin(spotted, ArmState.ARMED) + self.tick(now_s)

    def hand(self, spotted: Spotted, now_s: float) -> tuple[Action, ...]:
        """Somebody asked for an event."""
        actions = self.tick(now_s)
        if self._state is ArmState.CATCHING:
            return actions + self._extend(spotted)
        return actions + self._begin(spotted, self._state)

    def tick(self, now_s: float) -> tuple[Action, ...]:
        """Time went on."""
        self._now_s = max(self._now_s, now_s)
        if self._state is ArmState.LEARNING and self.learnt >= 1.0 and self.background_known:
            self._state = ArmState.ARMED
            self._quiet_until_s = self._now_s
        if self._state is ArmState.CATCHING and self._now_s > self._end_s:
            return (self._over(True, self._end_s),)
        return ()

    def cut(self, now_s: float) -> tuple[Action, ...]:
        """No more frames will come: an event under way ends, cut short."""
        actions = self.tick(now_s)
        if self._state is ArmState.CATCHING:
            actions += (self._over(False, min(self._now_s, self._end_s)),)
        return actions

    def _begin(self, spotted: Spotted, afterwards: ArmState) -> tuple[Action, ...]:
        self._afterwards = afterwards
        if afterwards is ArmState.ARMED and not self._rules.again:
            self._afterwards = ArmState.OFF
        self._state = ArmState.CATCHING
        self._first_s = spotted.time_s
        self._end_s = self._wanted_end(spotted)
        self._since_s = spotted.time_s - self._rules.pre_trigger_s
        return (Begin(spotted, self._since_s),)

    def _extend(self, spotted: Spotted) -> tuple[Action, ...]:
        if spotted.time_s < self._first_s - self._rules.pre_trigger_s:
            return ()
        self._end_s = max(self._end_s, self._wanted_end(spotted))
        return (Mark(spotted),)

    def _wanted_end(self, spotted: Spotted) -> float:
        longest = self._first_s + self._rules.longest_event_s
        return min(spotted.time_s + self._rules.post_trigger_s, longest)

    def _over(self, complete: bool, until_s: float) -> End:
        self._state = self._afterwards
        self._quiet_until_s = until_s + self._rules.refractory_s
        self._armed_s = until_s
        return End(complete, until_s)
