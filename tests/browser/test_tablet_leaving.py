"""A page that is left, turned, zoomed, full or killed keeps every line, honestly. In Chromium."""

import asyncio
from typing import Any

import pytest
from harbour import Harbour, item
from tab import Tab, drive, drive_again
from test_tablet_modes import lines_of

pytestmark = pytest.mark.browser

LINE = item("quay-edge", repetitions=4)
(WAY,) = lines_of(LINE)


# How many samples the journals hold.
WRITTEN = """() => new Promise((resolve, reject) => {
    const opening = indexedDB.open("linnet");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
        const all = opening.result.transaction("journal").objectStore("journal").getAll();
        all.onsuccess = () => {
            opening.result.close();
            const parts = all.result.filter(({ rows }) => rows);
            resolve(parts.reduce((sum, { rows, names }) => sum + rows.length / names.length, 0));
        };
    };
})"""


async def hide(tab: Tab, hidden: bool) -> None:
    """Let the page believe that it is out of sight, as another app in front of it does."""
    await tab.page.evaluate(
        """hidden => {
            Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
            Object.defineProperty(document, "visibilityState",
                { value: hidden ? "hidden" : "visible", configurable: true });
            document.dispatchEvent(new Event("visibilitychange"));
        }""",
        hidden,
    )


def test_a_line_is_closed_when_the_page_goes_out_of_sight(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        drawn = await tab.pen(tab.all_px(WAY[:90]), held=True)
        await hide(tab, True)
        document = await tab.document()
        assert document["ended_by"] == "left_page"
        assert len(document["samples"]["t_ms"]) == len(drawn.times_ms)
        await hide(tab, False)
        await tab.shown(2)

    drive(harbour, scenario)


def test_a_line_does_not_go_on_when_the_tablet_is_turned(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        drawn = await tab.pen(tab.all_px(WAY[:90]), held=True)
        await tab.page.set_viewport_size({"width": 820, "height": 1180})
        document = await tab.document()
        assert document["ended_by"] == "left_page"
        assert len(document["samples"]["t_ms"]) == len(drawn.times_ms)
        # Upright there is no room for it: the page asks to be turned back.
        await tab.page.wait_for_selector('#draw[data-phase="turn"]')
        await tab.page.set_viewport_size({"width": 1180, "height": 820})
        await tab.shown(2)

    drive(harbour, scenario)


def test_a_line_goes_on_when_only_a_bar_of_the_browser_comes_or_goes(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        first = await tab.pen(tab.all_px(WAY[:90]), held=True)
        await tab.page.set_viewport_size({"width": 1180, "height": 780})
        await asyncio.sleep(0.2)
        rest = await tab.pen(tab.all_px(WAY[90:]))
        document = await tab.document()
        (moved,) = document["marks"]
        assert moved["kind"] == "area_moved"
        # [C] 40 px less, half of it above: all lies that much nearer to the upper edge.
        up_mm = document["device"]["area_at_mm"][1] - moved["area_at_mm"][1]
        assert up_mm == pytest.approx(20 / tab.px_per_mm, abs=0.001)
        await tab.drained()
        assert document["trial_id"] in harbour.stored()
        samples = document["samples"]
        assert samples["stroke"].count(0) == len(first.times_ms)
        assert samples["stroke"].count(1) == len(rest.times_ms)
        assert max(abs(y_mm - 68.0) for y_mm in samples["y_mm"]) < 0.01

    drive(harbour, scenario)


# Whether there is ink at each of some places. [CSS px]
INKED = """places => {
    const context = document.getElementById("ink").getContext("2d");
    return places.map(([x, y]) =>
        context.getImageData(x * devicePixelRatio, y * devicePixelRatio, 1, 1).data[3] > 0);
}"""


def test_a_pen_that_stays_down_draws_on_after_the_strip_and_after_a_bar(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        first = await tab.pen(tab.all_px(WAY[:60]), held=True)
        # The hand's clock runs ahead of the page's while it sends.
        await asyncio.sleep(0.5)
        await tab.open_strip()
        await tab.slide(tab.all_px(WAY[60:80]))
        await tab.page.click("#strip-close")
        second = tab.all_px(WAY[80:120])
        await tab.slide(second)
        await tab.page.set_viewport_size({"width": 1180, "height": 780})
        await asyncio.sleep(0.2)
        third = tab.all_px(WAY[120:])
        await tab.rest_of_stroke([*third, third[-1]])
        # Of the first stroke, of what was not drawn, and of the two that followed.
        places = tab.all_px([WAY[at] for at in (30, 70, 100, 150)])
        assert await tab.page.evaluate(INKED, places) == [True, False, True, True]
        document = await tab.document()
        assert document["ended_by"] == "stop_target"
        kinds = [mark["kind"] for mark in document["marks"]]
        assert kinds == ["strip_opened", "strip_closed", "area_moved"]
        samples = document["samples"]
        counts = [samples["stroke"].count(number) for number in range(4)]
        assert counts == [len(first.times_ms), len(second), len(third) + 1, 0]
        drawn_mm = [*WAY[:60], *WAY[80:], WAY[-1]]
        got_mm = zip(samples["x_mm"], samples["y_mm"], strict=True)
        for (x, y), (x_mm, y_mm) in zip(drawn_mm, got_mm, strict=True):
            assert (x_mm, y_mm) == pytest.approx((x, y), abs=0.01)

    drive(harbour, scenario)


def test_zoom_ends_the_line_and_asks_for_the_scale_again(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        drawn = await tab.pen(tab.all_px(WAY[:90]), held=True)
        await tab.hand.send(
            "Emulation.setDeviceMetricsOverride",
            {"width": 944, "height": 656, "deviceScaleFactor": 1.25, "mobile": False},
        )
        document = await tab.document()
        assert document["ended_by"] == "left_page"
        assert document["device"]["calibrated"] is True
        assert len(document["samples"]["t_ms"]) == len(drawn.times_ms)
        await tab.page.wait_for_selector("#strip[open]")
        assert "scale" in await tab.page.inner_text("#strip-warning")
        await tab.page.click("#strip-leave")
        await tab.page.click("#children-list button")
        await tab.page.wait_for_selector("#calibrate:not([hidden])")

    drive(harbour, scenario)


# A disk without room: nothing new is taken until the reserve was given up, and then no reserve.
FULL = """() => {
    let given_up = false;
    const { put, delete: remove } = IDBObjectStore.prototype;
    IDBTransaction.prototype.commit = () => {};
    IDBObjectStore.prototype.put = function (...row) {
        const request = put.apply(this, row);
        if (this.name === "reserve" || (this.name === "outbox" && !given_up)) {
            request.addEventListener("success", () => this.transaction.abort());
        }
        return request;
    };
    IDBObjectStore.prototype.delete = function (...key) {
        if (this.name === "reserve") given_up = true;
        return remove.apply(this, key);
    };
}"""


def test_full_storage_is_told_before_a_line_is_drawn_and_loses_none(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        harbour.kill()
        await tab.page.evaluate(FULL)
        drawn = await tab.pen(tab.all_px(WAY))
        # The line that was begun goes into the space that was held free for it.
        await tab.page.wait_for_selector("#guide .answered", state="attached")
        (row,) = await tab.waiting_for(1)
        assert row["kind"] == "trial"
        await tab.page.wait_for_selector("#strip[open]")
        assert "storage is full" in (await tab.page.inner_text("#strip-warning")).lower()
        assert await tab.page.get_attribute("#draw", "data-phase") == "full"
        harbour.start()
        await tab.drained()
        assert len(tab.puts[-1]["samples"]["t_ms"]) == len(drawn.times_ms)

    drive(harbour, scenario)


def test_the_page_opens_and_works_for_a_day_without_a_server(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.page.wait_for_function("navigator.serviceWorker.controller !== null")
        await tab.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        harbour.kill()
        await tab.page.goto("about:blank")
        await tab.open()
        await tab.choose()
        for number in (1, 2):
            await tab.pen(tab.all_px(WAY))
            await tab.waiting_for(number)
            await tab.carry_on()
            await tab.shown(number + 1)
        # And once more, as after a flat battery.
        await tab.page.goto("about:blank")
        await tab.open()
        await tab.page.wait_for_selector("#children-list button")
        assert "2 tries wait" in await tab.page.inner_text("#waiting")
        harbour.start()
        await tab.drained()
        assert len(harbour.stored()) == len(before) + 2

    drive(harbour, scenario)


def test_a_line_in_a_browser_that_is_killed_is_kept_as_far_as_it_was(
    harbour: Harbour, tmp_path: Any
) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()
    count, px_per_mm = 0, 0.0

    async def until_killed(tab: Tab) -> None:
        nonlocal count, px_per_mm
        await tab.begin()
        px_per_mm = tab.px_per_mm
        drawn = await tab.pen(tab.all_px(WAY[:90]), held=True)
        count = len(drawn.times_ms)
        for _ in range(100):
            if await tab.page.evaluate(WRITTEN) == count:
                break
            await asyncio.sleep(0.1)
        assert await tab.page.evaluate(WRITTEN) == count
        # A write of this kind is done for the page before it is on the disk.
        await asyncio.sleep(1)

    async def after(tab: Tab) -> None:
        tab.px_per_mm = px_per_mm
        await tab.open()
        await tab.page.wait_for_selector("#children-list button")
        assert "interrupted" in await tab.page.inner_text("#notices")
        await tab.drained()
        (trial_id,) = harbour.stored()[len(before) :]
        with harbour.signed_in() as client:
            trace = client.get(f"/api/trials/{trial_id}/trace").json()
            facts = client.get(f"/api/trials/{trial_id}").json()
        assert facts["ended_by"] == "interrupted"
        assert len(trace["samples"]["t_ms"]) == count
        await tab.choose()
        await tab.pen(tab.all_px(WAY))
        assert (await tab.document(len(tab.puts) + 1))["plan"]["repetition"] == 2

    drive_again(harbour, tmp_path / "profile", until_killed, after)


def test_a_second_window_says_that_linnet_is_open_elsewhere(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        other = await tab.page.context.new_page()
        await other.goto(f"{harbour.url}/tablet")
        await other.wait_for_selector("#elsewhere:not([hidden])")
        await tab.page.bring_to_front()
        await tab.pen(tab.all_px(WAY))
        assert (await tab.document())["ended_by"] == "stop_target"
        await tab.page.close()
        await other.click("#elsewhere-again")
        await other.wait_for_selector("#children-list button")

    drive(harbour, scenario)
