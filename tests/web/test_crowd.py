"""Twenty people at one ledger lose nothing."""

from linewright.verbs.shelf import open_ledger, readings_of
from web.bench_helpers import bench_of
from web.load import Person, crowd, lines_of, standing


def test_twenty_people_at_once_lose_no_reading(site):
    own = [bench_of(site.ledger, f"Person {i}", ("desk meter",)) for i in range(10)]
    shared = bench_of(site.ledger, "Shared")
    lines = lines_of(site.address, shared)
    people = [Person(site.address, key, lines_of(site.address, key)[:2]) for key in own]
    people += [Person(site.address, shared, lines[i * 3 : i * 3 + 3]) for i in range(10)]
    crowd(people)
    assert [p.troubles for p in people] == [[]] * 20
    assert sum(len(p.kept) for p in people) == 10 * 2 + 10 * 3
    for person in people:
        assert person.kept.items() <= standing(site.address, person.session).items()
    with open_ledger(site.ledger) as ledger:
        assert len(readings_of(ledger, shared)) == 30


def test_all_at_one_line_leave_one_value_and_ask_the_others(site):
    key = bench_of(site.ledger, "One line", ("desk meter",))
    line = lines_of(site.address, key)[0]
    people = [Person(site.address, key, [line] * (1 + i % 2)) for i in range(20)]
    crowd(people)
    with open_ledger(site.ledger) as ledger:
        found = readings_of(ledger, key)
    assert len(found) == 1
    assert found[0].cells["reading"] == "9.5"
