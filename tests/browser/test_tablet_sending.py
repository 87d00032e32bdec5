"""What was drawn is sent until the server has it, and stored once. In Chromium."""

from typing import Any

import pytest
from harbour import Harbour
from quay_edge import LINE, beside, flat
from tab import Tab, drive

pytestmark = pytest.mark.browser


def test_a_lost_answer_sends_again_and_is_stored_once(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()

    async def scenario(tab: Tab) -> None:
        statuses = []

        async def lose_first(route: Any) -> None:
            answer = await route.fetch()
            statuses.append(answer.status)
            if len(statuses) == 1:
                await route.abort()
            else:
                await route.fulfill(response=answer)

        await tab.page.route("**/api/trials/*", lose_first)
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document(2)
        await tab.drained()
        assert statuses == [201, 200]
        assert tab.puts[0] == document
        assert len(harbour.stored()) == len(before) + 1

    drive(harbour, scenario)


def test_a_trial_that_the_server_refuses_waits_for_an_adult(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        async def refuse(route: Any) -> None:
            await route.fulfill(
                status=409,
                content_type="application/problem+json",
                body='{"title": "Conflict", "status": 409, "detail": "Other bytes are stored."}',
            )

        await tab.page.route("**/api/trials/*", refuse)
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        sent = await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#refused:not([hidden])")
        assert "409" in await tab.page.inner_text("#refused")
        async with tab.page.expect_download() as saving:
            await tab.page.click("text=Save to a file")
        file = await (await saving.value).path()
        assert file.read_text() == (await tab.waiting())[0]["body"]
        assert sent["trial_id"] in (await saving.value).suggested_filename
        await tab.page.click("text=Take off this tablet")
        await tab.page.wait_for_selector("#refused", state="hidden")
        assert await tab.waiting() == []

    drive(harbour, scenario)


def test_a_revoked_pairing_keeps_what_waits_until_paired_again(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        refusing = True

        async def maybe_refuse(route: Any) -> None:
            if not refusing:
                await route.continue_()
                return
            await route.fulfill(
                status=401,
                content_type="application/problem+json",
                body='{"title": "Unauthorized", "status": 401}',
            )

        await tab.begin()
        await tab.page.route("**/api/trials/*", maybe_refuse)
        await tab.page.route("**/api/tablet/day", maybe_refuse)
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#pair:not([hidden])")
        assert "pair it again" in (await tab.page.inner_text("#pair-fault")).lower()
        assert [row["state"] for row in await tab.waiting()] == ["unpaired"]
        refusing = False
        await tab.page.fill("#pair-code", harbour.pairing_code())
        await tab.page.click("#pair-form button")
        await tab.drained()
        assert document["trial_id"] in harbour.stored()

    drive(harbour, scenario)
