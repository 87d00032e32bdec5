"""What somebody without a page of their own sees after signing in."""

from tests.practice import Practice


def test_an_owner_is_told_that_the_sign_in_worked(practice: Practice) -> None:
    page = practice.desk("purser").get("/").text
    assert "You are signed in" in page
    assert 'action="/sign-in"' not in page


def test_an_owner_who_opened_somebody_elses_link_still_gets_the_sign_in(
    practice: Practice,
) -> None:
    page = practice.desk("purser").get("/?ready").text
    assert 'action="/sign-in"' in page
    assert "Your account is ready." in page
