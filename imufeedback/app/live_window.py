"""The application: first screen, then the session in the bay window, in one window.

What only a session needs (radio, filters, plots) is imported when one begins, so that the first screen comes at once.
"""

from __future__ import annotations

import datetime
import logging
from collections import Counter
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

import msgspec
from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QMainWindow

from imufeedback.app import best_reps, preload
from imufeedback.app.common_keys import add_common_keys, add_keys
from imufeedback.app.feed import EventFeed
from imufeedback.app.keys import Screen, key
from imufeedback.app.labels import BASE_HEIGHT, BASE_WIDTH, scale_of
from imufeedback.app.practice_choices import Works
from imufeedback.app.scrolling import Pages, scrolled
from imufeedback.app.start import texts
from imufeedback.app.start.page import StartPage
from imufeedback.app.start.readiness import HERE, NEEDED, StartStep
from imufeedback.app.text_size import text_size
from imufeedback.app.tracks import Track
from imufeedback.commands import AcceptSwap, BeginFit, Keep
from imufeedback.errors import ImuFeedbackError
from imufeedback.packets import Layout
from imufeedback.people import Homework, People, Person, limits_text, with_done, with_homework, with_limit
from imufeedback.phrases import phrase
from imufeedback.record import baselines
from imufeedback.record.baselines import Taken
from imufeedback.record.fits import StoredFit, last, store
from imufeedback.records import Event, FitRefused, Fitted, Hand, Json, Link, LinkState, Rep, RolesChanged, Segment

TRY_TITLE = "try-it"
AGAIN_MS = 6000
"""The reason of a refused calibration is read in this time. Chosen."""
PRELOAD_AFTER_MS, PRELOAD_LOOK_MS = 150, 50
"""The first picture comes before anything else is imported."""
BREATH_MS = 10
"""Between two long tasks: keys and pictures that wait are served first. Chosen."""
END_HOLD_MS = 4000
"""The last rep is looked at for so long before the summary takes its place."""

if TYPE_CHECKING:
    from imufeedback.app.bay import BayWindow
    from imufeedback.app.ending import EndPage
    from imufeedback.live.golfer import VirtualGolfer
    from imufeedback.live.lesson import Lesson
    from imufeedback.live.practice import Practice
    from imufeedback.live.station import Station
    from imufeedback.settings import EarlierBaseline

log = logging.getLogger("imufeedback.app")

MakeStation = Callable[[Callable[[list[Event]], None], Callable[[str | None], None]], "Station"]


class LiveWindow(QMainWindow):
    """First screen and bay window of one session.

    `make_station` makes the real sensors' station when it is first needed; `recordings` is the folder for recordings;
    `role_of` tells where a sensor was worn last, `remember` keeps it (sensor, place, facts of the sensor), and
    `offset_s` is how much later than the others' its times are; `fits` is the folder of the players' last calibrations;
    `known_places` are those whose sensors are known: with all that is needed, they are searched for by themselves.
    """

    def __init__(
        self,
        people: People,
        works: Works,
        layout: Layout,
        make_station: MakeStation,
        recordings: Path,
        *,
        role_of: Callable[[str], Segment | None] = lambda sensor: None,
        remember: Callable[[str, Segment | None, Mapping[str, Json]], None] = lambda sensor, segment, facts: None,
        offset_s: Callable[[str], float] = lambda sensor: 0.0,
        fits: Path | None = None,
        today: Callable[[], datetime.date] = datetime.date.today,
        known_places: Callable[[], Collection[Segment]] = tuple,
        speak: bool = False,
    ) -> None:
        super().__init__()
        self.people, self._layout, self._make_station = people, layout, make_station
        self._recordings, self._remember, self._today = recordings, remember, today
        self._role_of, self._offset_s, self._fits = role_of, offset_s, fits
        self._known_places = known_places
        self._speak = speak
        self._alone = False
        """A returning player was taken: whatever can goes on by itself, until somebody does something else."""
        self.feed = EventFeed(Hand.RIGHT)
        self.start = StartPage(people, works)
        self.bay: BayWindow | None = None
        self.practice: Practice | None = None
        self._station: Station | None = None
        self._lesson: Lesson | None = None
        self._done: Counter[str] = Counter()
        """Reps that were judged, by drill."""
        self._leaving = False
        """The window is to close when the session has stopped; else the summary comes."""
        self._golfer: VirtualGolfer | None = None
        self._waiting = False
        self._baseline: Taken | None = None
        """Reps of the running session's baseline; None of a virtual golfer's."""
        """The session begins as soon as the virtual golfer is there."""
        self.end: EndPage | None = None
        self._summary = self._once(END_HOLD_MS, self._end)
        self._retry = self._once(AGAIN_MS, self._once_more)
        """Both belong to the running session and are stopped with it: late, they would touch the next one."""
        self._desk = _Desk()
        self.pages = Pages()
        self.pages.addWidget(self.start)
        self.setCentralWidget(scrolled(self.pages))
        self.setWindowTitle(phrase("start.window_title"))
        self.setMinimumSize(900, 560)
        self.resize(BASE_WIDTH, BASE_HEIGHT)
        self._wire()

    def _once(self, after_ms: int, what: Callable[[], None]) -> QTimer:
        """Does it once, so long after it is started."""
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setInterval(after_ms)
        timer.timeout.connect(what)
        return timer

    def _wire(self) -> None:
        start = self.start
        start.try_wanted.connect(self._try)
        start.search_wanted.connect(self._search)
        start.stream_wanted.connect(self._stream)
        start.fit_wanted.connect(self._fit)
        start.stored_wanted.connect(self._use_stored)
        start.begin_wanted.connect(self._begin)
        start.placed.connect(self._place)
        start.ticked.connect(self._tick)
        start.take_wanted.connect(self._take)
        start.blink_wanted.connect(self._blink)
        start.calibration.answered.connect(self._answer_swap)
        start.player.accepted.connect(self._taken)
        for by_hand in (start.try_wanted, start.take_wanted, start.ticked, start.placed):
            by_hand.connect(self._stop_going_on)
        for row in start.steps.rows.values():
            row.clicked.connect(self._stop_going_on)
        self._desk.told.connect(self._hear_desk, Qt.ConnectionType.QueuedConnection)
        self._desk.searched.connect(self._searched, Qt.ConnectionType.QueuedConnection)
        self._desk.ready.connect(self._meet_golfer, Qt.ConnectionType.QueuedConnection)
        add_common_keys(start, Screen.START)
        add_keys(start, key(Screen.START, "leave"), self.close)
        text_size.changed.connect(self.rescale)

    # ── what the application's runner asks ───────────────────────────────────────────────────────────────────────

    @property
    def stop_failure(self) -> str | None:
        return self.bay.stop_failure if self.bay is not None else None

    def stop_unasked(self) -> None:
        """Ordered stop, and close, without asking."""
        self._leaving = True
        if self.bay is not None and not self.bay.gone:
            self.bay.stop_unasked()
        else:
            self.close()

    def stop_now(self) -> None:
        """Ordered stop without returning to the event loop."""
        if self.bay is not None:
            self.bay.stop_now()
        if self._station is not None:
            self._station.close()

    # ── sensors ──────────────────────────────────────────────────────────────────────────────────────────────────

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802 – Qt names it
        super().showEvent(event)
        QTimer.singleShot(PRELOAD_AFTER_MS, self, self._shown)

    def _shown(self) -> None:
        """The first picture is there: what takes time begins."""
        preload.preload()
        if self._knows_all and self._station is None and self.isVisible():
            self.start.search()

    @property
    def _knows_all(self) -> bool:
        return set(NEEDED) <= set(self._known_places())

    # ── what goes on by itself ───────────────────────────────────────────────────────────────────────────────────

    def _taken(self, person: Person) -> None:
        self._alone = person.last_used is not None and self._knows_all
        self._go_on()

    def _stop_going_on(self) -> None:
        """Somebody does something by hand: from here on everything waits for them."""
        self._alone = False

    def _go_on(self) -> None:
        """The next thing that is possible without anybody."""
        ready = self.start.ready
        if not self._alone or ready.virtual:
            return
        if not ready.running:
            if ready.can_stream and not ready.searching:
                self._stream()
        elif ready.fit_level is None and ready.fit_refused is None and not ready.calibrating:
            if all(ready.links.get(sensor) is LinkState.STREAMING for sensor in ready.roles):
                self._fit()
        elif ready.fit_level is not None and self._lesson is None and ready.can_begin:
            self._begin()

    def _once_more(self) -> None:
        """A refused calibration begins again, when its reason has been read."""
        if self._alone and self.start.ready.fit_refused is not None:
            self._fit()

    def _when_loaded(self, what: Callable[[], None]) -> None:
        """What needs the parts of a session is done as soon as they are there."""
        if preload.done.is_set():
            what()
        else:
            preload.preload()
            QTimer.singleShot(PRELOAD_LOOK_MS, self, lambda: self._when_loaded(what))

    def _search(self) -> None:
        self._when_loaded(self._search_now)

    def _search_now(self) -> None:
        if self._station is None:
            self._station = self._make_station(self._desk.told.emit, self._desk.searched.emit)
        self._station.search()

    def _take(self, addresses: list[str]) -> None:
        """Somebody has pointed at sensors that were not known: they are theirs from now on."""
        if self._station is not None:
            self.start.show_busy()
            self._station.take(*addresses)

    def _tick(self, sensor: str, on: bool) -> None:
        if self._station is not None:
            self.start.show_busy()
            (self._station.take if on else self._station.leave)(sensor)

    def _blink(self, who: str) -> None:
        if self._station is not None:
            self._station.blink(who)

    def _searched(self, trouble: str | None) -> None:
        ready = self.start.ready
        for sensor in ready.links:
            role = self._role_of(sensor)
            if role is not None:
                ready.roles[sensor] = role
        self._see_station()
        self.start.show_search(trouble)
        if self.start.step is StartStep.SENSORS:
            self.start.sensors.stream.setFocus() if ready.can_stream else self.start.sensors.focus()
        self._go_on()

    def _see_station(self) -> None:
        """Who is in reach and not connected: own ones that are missing, and others."""
        from imufeedback.ble.own import label

        ready, station = self.start.ready, self._station
        if station is None:
            return
        silent = [texts.absent_words(one.role, one.serial) for one in station.absent]
        ready.absent = "\n".join(([texts.not_heard(silent)] if silent else []) + list(station.troubles))
        ready.others = tuple((one.address, texts.other_words(label(one), one.rssi_dbm)) for one in station.others)

    def _hear_desk(self, events: list[Event]) -> None:
        for event in events:
            self.start.hear(event)
            if isinstance(event, Link) and event.state is LinkState.CONNECTED:
                self._keep_sensor(event.sensor, self._role_of(event.sensor))

    def _keep_sensor(self, sensor: str, segment: Segment | None) -> None:
        """It is this player's, and worn there."""
        try:
            self._remember(sensor, segment, self.start.facts.get(sensor, {}))
        except ImuFeedbackError as error:
            self.start.messages.show_notice(str(error))

    def _place(self, sensor: str, segment: Segment | None) -> None:
        roles, links = self.start.ready.roles, self.start.ready.links
        roles.pop(sensor, None)
        if segment is not None:
            for other in [one for one, role in roles.items() if role is segment and links.get(one) not in HERE]:
                del roles[other]  # left out, or gone: this one is worn instead
            roles[sensor] = segment
        self._keep_sensor(sensor, segment)
        self.start.refresh()

    def _try(self) -> None:
        """The virtual golfer is made ready, and waits: it plays when the session begins."""
        ready = self.start.ready
        if ready.person is None or ready.running:
            return
        ready.virtual, ready.links, self._golfer = True, {}, None
        Thread(
            target=self._make_golfer, args=(ready.person.hand, limits_text(ready.person)), name="golfer", daemon=True
        ).start()
        self.start.show_step(StartStep.WORK)

    def _make_golfer(self, hand: Hand, limits: str) -> None:
        """In a thread: its movements are worked out, which takes some seconds; the window stays awake."""
        preload.preload()
        preload.done.wait()
        from imufeedback.live.golfer import VirtualGolfer, trial_plan

        golfer = VirtualGolfer(trial_plan(hand, limits))
        assert golfer.settings is not None
        self._desk.ready.emit(golfer)

    def _meet_golfer(self, golfer: VirtualGolfer) -> None:
        person = self.start.ready.person
        if not self.start.ready.virtual or person is None or golfer.plan.hand is not person.hand:
            return  # asked for, and then not wanted any more
        self._golfer = golfer
        if self._waiting:
            self._begin()

    def _open_golfer(self) -> None:
        """The virtual golfer's session, or a word that it comes."""
        ready = self.start.ready
        self._waiting = self._golfer is None
        if self._golfer is None or ready.person is None:
            self.start.messages.show_notice(phrase("golfer_comes"))
            return
        from imufeedback.live import practice
        from imufeedback.synth.sensors import WORN
        from imufeedback.synth.stream import serial_of

        feed = EventFeed(ready.person.hand)
        try:
            journal = practice.new_recording(self._recordings, f"{ready.person.name} {TRY_TITLE}")
        except ImuFeedbackError as error:
            self.start.show_fault(str(error))
            return
        ready.roles = {serial_of(segment): segment for segment in WORN}
        ready.calibrating = True
        golfer, self._golfer = self._golfer, None
        self._open(feed, practice.Practice(golfer, journal, [feed.push], feed.finish))

    def _stream(self) -> None:
        self._when_loaded(self._stream_now)

    def _stream_now(self) -> None:
        ready = self.start.ready
        if not ready.can_stream or self._station is None or ready.person is None:
            return
        from imufeedback.live import practice
        from imufeedback.live.station_source import WornSensors

        feed = EventFeed(ready.person.hand)
        roles = {sensor: role for sensor, role in ready.roles.items() if sensor in self._station.sensors}
        try:
            journal = practice.new_recording(self._recordings, ready.person.name)
        except ImuFeedbackError as error:
            self.start.show_fault(str(error))
            return
        offsets = {sensor: self._offset_s(sensor) for sensor in roles}
        worn = WornSensors(
            *(self._station, roles, self._layout, ready.person.player),
            offsets_s=offsets,
            limits=limits_text(ready.person),
            earlier=self._earlier_baseline(),
        )
        self._baseline = Taken()
        self._open(feed, practice.Practice(worn, journal, [feed.push, self._baseline], feed.finish))

    def _open(self, feed: EventFeed, practice: Practice) -> None:
        """The session begins: it records from here on. The bay window listens behind the first screen."""
        from imufeedback.app.bay_practice import bay_window
        from imufeedback.app.coach import Keeper

        ready = self.start.ready
        self.feed, self.practice = feed, practice
        self.bay = bay_window(
            *(practice, feed, ready.roles),
            ask=True,
            speak=self._speak,
            earlier=self._earlier(),
            on_close=self._stopped,
            also=self._hear,
            own_limits="" if ready.person is None else limits_text(ready.person),
            keeper=None if ready.person is None else Keeper(ready.person.name, self._keep_limit, self._assign),
        )
        self.bay.setWindowFlags(Qt.WindowType.Widget)
        self.bay.setMinimumSize(0, 0)  # this window has its own
        self.bay.ended.connect(self._ended)
        self.bay.stayed.connect(self._stay)
        self.bay.acknowledge()  # the first screen has shown the cautions
        self.pages.addWidget(self.bay)
        ready.running = True
        QTimer.singleShot(BREATH_MS, self, lambda: self._start(practice))  # one thing at a time: the window stays awake

    def _start(self, practice: Practice) -> None:
        """The second half: data come, and what was waited for goes on."""
        if self.practice is not practice:
            return  # closed meanwhile
        ready = self.start.ready
        practice.start()
        stored = self._last_fit()
        ready.stored_fit_days = None if stored is None or ready.virtual else (self._today() - stored.day).days
        if ready.virtual:
            QTimer.singleShot(BREATH_MS, self, self._begin)
        else:
            self.start.show_step(StartStep.CALIBRATION)

    def _history(self) -> Path | None:
        person = self.start.ready.person
        return None if person is None else self.people.beside(person.name, ".reps.json")

    def _earlier(self) -> Track | None:
        """Best rep of a session about a week ago."""
        path = self._history()
        return None if path is None else best_reps.find(path, self._today())

    def _keep_best(self) -> None:
        """For the sessions to come. A virtual golfer's rep is nobody's."""
        best = self.bay.view.book.best() if self.bay is not None else None
        path = self._history()
        if path is None or best is None or best.track is None or self.start.ready.virtual:
            return
        try:
            best_reps.keep(path, self._today(), best.track)
        except ImuFeedbackError as error:
            log.warning("%s", error)

    def _earlier_baseline(self) -> EarlierBaseline | None:
        person = self.start.ready.person
        if self._fits is None or person is None:
            return None
        return baselines.earlier(self._fits, person.name, self._today())

    def _keep_baseline(self) -> None:
        """For the sessions to come, without what was discarded."""
        person, taken, self._baseline = self.start.ready.person, self._baseline, None
        recording = None if self.practice is None else self.practice.recording
        if self._fits is None or person is None or taken is None or self.bay is None or recording is None:
            return
        gone = {entry.rep.index for entry in self.bay.view.book.entries if entry.discarded}
        try:
            baselines.keep(self._fits, person.name, self._today(), recording, taken.reps, gone)
        except ImuFeedbackError as error:
            log.warning("%s", error)

    # ── calibration ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _fit(self) -> None:
        ready = self.start.ready
        if self.practice is None or ready.calibrating or ready.virtual:
            return
        ready.calibrating, ready.fit_refused, ready.fit_level = True, None, None
        self.practice.command(BeginFit())
        self.start.refresh()
        self.start.calibration.show_move(0)

    def _use_stored(self) -> None:
        """The player's last calibration; one of another day says so in the recording too."""
        found = self._last_fit()
        if found is not None and self.practice is not None and not self.start.ready.calibrating:
            self.practice.command(found.command(self._today()))

    def _last_fit(self) -> StoredFit | None:
        person = self.start.ready.person
        if self._fits is None or person is None:
            return None
        try:
            return last(self._fits, person.name)
        except ImuFeedbackError as error:
            self.start.messages.show_notice(str(error))
            return None

    def _keep_fit(self, event: Fitted) -> None:
        """For later today, and as a last resort for another day."""
        person = self.start.ready.person
        if event.stored or self._fits is None or person is None or self.start.ready.virtual:
            return
        try:
            store(self._fits, StoredFit(person.name, self._today(), event.fit))
        except ImuFeedbackError as error:
            self.start.messages.show_notice(str(error))

    def _answer_swap(self, swapped: bool) -> None:
        """The movements say that sensors are elsewhere: they are, or the player began with the other leg."""
        if self.practice is not None:
            self.practice.command(AcceptSwap() if swapped else Keep())

    # ── the session ──────────────────────────────────────────────────────────────────────────────────────────────

    def _begin(self) -> None:
        if self.start.work is not None and self.start.ready.virtual and self.bay is None:
            self._open_golfer()
            return
        if self.bay is None or self.practice is None or self.start.work is None:
            return
        from imufeedback.live.lesson import Lesson

        self._lesson = Lesson(self.start.work.blocks, self.practice.command, on_block=self.bay.show_block)
        self._lesson.begin()
        self._keep_person()
        self.pages.setCurrentWidget(self.bay)
        self.bay.setFocus()
        self.setWindowTitle(self.bay.windowTitle())

    def _hear(self, event: Event) -> None:
        """Everything that the bay window hears."""
        self.start.hear(event)
        if isinstance(event, Rep) and not event.void:
            self._done[event.kind.split(" ")[0]] += 1
        if self._lesson is not None:
            self._lesson.hear(event)
        if isinstance(event, Fitted):
            self._keep_fit(event)
        elif isinstance(event, RolesChanged):
            self._move_sensors(event.roles)
        elif isinstance(event, FitRefused):
            self._retry.start()
        self._go_on()

    def _move_sensors(self, roles: Mapping[str, Segment]) -> None:
        """The player said that the sensors are where the movements showed them: from the next session on too."""
        ready = self.start.ready
        moved = {sensor: segment for sensor, segment in roles.items() if ready.roles.get(sensor) is not segment}
        ready.roles.update(moved)
        if self.bay is not None:
            self.bay.show_roles(ready.roles)
        if ready.virtual:
            return
        for sensor, segment in moved.items():
            self._place(sensor, segment)

    def _keep_limit(self, key: str, value: float | None) -> None:
        """It is the player's from now on; None: the rule set's again."""
        person = self.start.ready.person
        assert person is not None
        self.start.ready.person = self._save(with_limit(person, key, value))

    def _assign(self, drill: str, reps: int, days: int) -> None:
        """Homework for the player."""
        person = self.start.ready.person
        assert person is not None
        self.start.ready.person = self._save(with_homework(person, Homework(drill, reps, days, self._today())))

    def _tick_off(self) -> None:
        """Homework that was done in this session. A virtual golfer does nobody's."""
        person = self.start.ready.person
        if person is None or self.start.ready.virtual:
            return
        done = with_done(person, self._done, self._today())
        if done != person:
            self.start.ready.person = self._save(done)

    def _save(self, person: Person) -> Person:
        """Write the player; a trouble is told where the session is."""
        try:
            return self.people.save(person, was=person.name)
        except ImuFeedbackError as error:
            assert self.bay is not None
            self.bay.view.messages.show_notice(str(error))
            return person

    def _keep_person(self) -> None:
        person = self.start.ready.person
        assert person is not None
        kept = msgspec.structs.replace(person, last_used=self._today(), drill=self.start.ready.work)
        self.start.ready.person = self._save(kept)

    def _stay(self) -> None:
        self._leaving = False

    def _ended(self) -> None:
        """The source has no more: after a look at the last rep the summary comes by itself."""
        self._summary.start()

    def _end(self) -> None:
        if self.bay is not None and not self.bay.gone and self.pages.currentWidget() is self.bay:
            self.bay.close()

    def _stopped(self, failure: str | None) -> None:
        self._summary.stop()
        self._retry.stop()
        self._keep_best()
        self._keep_baseline()
        self._tick_off()
        if self._leaving or failure is not None or self.pages.currentWidget() is not self.bay or self._lesson is None:
            QTimer.singleShot(0, self.close)
        else:
            QTimer.singleShot(0, self, self._show_end)

    # ── the end of a session, and the next one ───────────────────────────────────────────────────────────────────

    def _show_end(self) -> None:
        from imufeedback.app.ending import EndPage

        bay, person = self.bay, self.start.ready.person
        if bay is None or self.practice is None:
            return
        book = bay.view.book
        self.end = EndPage(bay.feed.hand)
        self.end.again_wanted.connect(self._again)
        self.end.next_wanted.connect(self._next_player)
        self.end.close_wanted.connect(self.close)
        name = "" if person is None else person.name
        self.end.show_session(name, book.counted, book.best(), bay.view.target_deg, self.practice.recording)
        self.end.rescale(scale_of(self))
        self.pages.addWidget(self.end)
        self.pages.setCurrentWidget(self.end)
        self.end.again.setFocus()
        self.setWindowTitle(phrase("start.window_title"))

    def _forget_session(self) -> None:
        """Back to the first screen, as before the session; player, sensors' places and work stay."""
        for page in (self.end, self.bay):
            if page is not None:
                self.pages.removeWidget(page)
                page.deleteLater()
        if self._station is not None:
            self._station.close()
        self.end = self.bay = self.practice = self._station = self._lesson = None
        self._done.clear()
        ready = self.start.ready
        ready.running = ready.calibrating = ready.virtual = False
        ready.fit_level = ready.fit_refused = ready.stored_fit_days = None
        ready.links.clear()
        self.feed = EventFeed(Hand.RIGHT if ready.person is None else ready.person.hand)
        self.pages.setCurrentWidget(self.start)

    def _again(self) -> None:
        """The same player and work once more: the virtual golfer at once, real sensors are searched."""
        virtual = self.start.ready.virtual
        self._forget_session()
        if virtual:
            self._waiting = True
            self._try()
            self.start.messages.show_notice(phrase("golfer_comes"))
            return
        self.start.show_step(StartStep.SENSORS)
        self._search()

    def _next_player(self) -> None:
        self._forget_session()
        self._alone = False
        self.start.ready.virtual = False
        self.start.ready.roles.clear()
        self.start.player.show_people()
        self.start.show_step(StartStep.PLAYER)

    # ── size and end ─────────────────────────────────────────────────────────────────────────────────────────────

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self.rescale()

    def rescale(self) -> None:
        """Fit texts to the window and to the size that a person chose."""
        self.start.rescale(scale_of(self), self.width())
        if self.end is not None:
            self.end.rescale(scale_of(self))

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802 – Qt names it
        self._leaving = True
        if self.bay is not None and not self.bay.gone:
            event.ignore()
            self.pages.setCurrentWidget(self.bay)
            self.bay.close()
            if self.bay.gone:
                event.accept()
            return
        if self._station is not None:
            self._station.close()
        event.accept()


class _Desk(QObject):
    """Carries news of the station's thread to the Qt thread."""

    told = Signal(list)
    searched = Signal(object)
    ready = Signal(object)
    """The virtual golfer."""
