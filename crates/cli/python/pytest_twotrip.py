"""A car for each test: the pytest fixture `car`.

    @pytest.mark.car("loose-fuel-cap", "--timing", "fast")
    def test_my_tool_reads_the_code(car):
        assert my_tool.codes(car.bus) == ["P0455"]
"""

import pytest
import twotrip


def pytest_configure(config):
    config.addinivalue_line("markers", "car(scenario, *options, bus=...): what the fixture `car` starts")


@pytest.fixture
def car(request):
    """The car that the mark names, a healthy one without a mark. What its scenario expects has to be met at the end."""
    mark = request.node.get_closest_marker("car")
    arguments, named = (mark.args, mark.kwargs) if mark else (("healthy",), {})
    with twotrip.Car(*arguments, **named) as running:
        yield running
        code = running.stop()
    missed = [line["expectation"] for line in running.events if line.get("met") is False]
    assert code == 0, f"exit code {code} of the car; not met: {missed}"
