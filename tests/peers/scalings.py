"""Service $01 values as SAE J1979-DA 2011 scales them, and what tshark and scapy call them.

Written down apart from the program, so that three readings meet: these formulas, tshark's dissector, scapy's layers.
"""

import dataclasses
from collections.abc import Callable


@dataclasses.dataclass
class Scaling:
    """`values` turns data bytes into numbers; `tshark` names as many fields of its `obd-ii` protocol, `scapy` attributes."""

    values: Callable[[bytes], list[float]]
    tshark: list[str]
    scapy: list[str]


def _word(data, place=0):
    return data[place] << 8 | data[place + 1]


def _signed(word):
    return word - 0x10000 if word & 0x8000 else word


def _one(formula, field):
    return Scaling(lambda data: [formula(data)], [field], ["data"])


def _percent(field):
    return _one(lambda data: data[0] * 100 / 255, field)


def _trim(field):
    return _one(lambda data: data[0] * 100 / 128 - 100, field)


def _byte(field, offset=0):
    return _one(lambda data: data[0] + offset, field)


def _number(field, factor=1.0):
    return _one(lambda data: _word(data) * factor, field)


def _several(formulas, scapy):
    """A byte that says what is fitted, then values; tshark shows the bytes as they are."""
    return Scaling(lambda data: [formula(data[1:], place) for place, formula in enumerate(formulas)], [], scapy)


def _celsius(data, place):
    return data[place] - 40


def _share(data, place):
    return data[place] * 100 / 255


def _deviation(data, place):
    return data[place] * 100 / 128 - 100


# The second byte, a trim, is not shown by tshark.
_narrow_sensor = Scaling(lambda data: [data[0] / 200], ["mode01_oxygen_sensor_voltage"], ["outputVoltage"])
_wide_sensor_current = Scaling(
    lambda data: [_word(data) * 2 / 65536, _word(data, 2) / 256 - 128],
    ["mode01_oxygen_sensor_fuel_air_ratio", "mode01_oxygen_sensor_current"],
    ["equivalence_ratio", "current"],
)

EGR = ("commanded_egr_{}_duty_cycle", "actual_egr_{}_duty_cycle", "egr_{}_error")
THROTTLE = ("commanded_throttle_actuator_{}_control", "relative_throttle_{}_position")

SCALINGS = {
    0x03: Scaling(
        lambda data: [data[0], data[1]],
        ["mode01_fuel_system1_status", "mode01_fuel_system2_status"],
        ["fuel_system1", "fuel_system2"],
    ),
    0x04: _percent("mode01_engine_load"),
    0x05: _byte("mode01_engine_coolant_temp", -40),
    0x06: _trim("mode01_short_term_fuel_bank1"),
    0x07: _trim("mode01_long_term_fuel_bank1"),
    0x0A: _one(lambda data: data[0] * 3, "mode01_fuel_pressure"),
    0x0B: _byte("mode01_intake_manifold_absolute_pressure"),
    0x0C: _number("mode01_engine_rpm", 0.25),
    0x0D: _byte("mode01_vehicle_speed"),
    0x0E: _one(lambda data: data[0] / 2 - 64, "mode01_timing_advance"),
    0x0F: _byte("mode01_intake_air_temp", -40),
    0x10: _number("mode01_maf_air_flow_rate", 0.01),
    0x11: _percent("mode01_throttle_position"),
    **{pid: _narrow_sensor for pid in range(0x14, 0x1C)},
    0x1C: _byte("mode01_obd_standards"),
    0x1F: _number("mode01_engine_uptime"),
    0x21: _number("mode01_distance_traveled_with_mil"),
    0x2C: _percent("mode01_commanded_egr"),
    0x2D: _trim("mode01_egr_error"),
    0x2E: _percent("mode01_commanded_evap_purge"),
    0x2F: _percent("mode01_fuel_tank_level_input"),
    0x30: _byte("mode01_warm_ups"),
    0x31: _number("mode01_distance_traveled_since_code_clear"),
    0x32: _one(lambda data: _signed(_word(data)) / 4, "mode01_evap_system_vapor_pressure"),
    0x33: _byte("mode01_absolute_barometric_pressure"),
    **{pid: _wide_sensor_current for pid in range(0x34, 0x3C)},
    0x3C: _one(lambda data: _word(data) / 10 - 40, "mode01_catalyst_temp_11"),
    0x3E: _one(lambda data: _word(data) / 10 - 40, "mode01_catalyst_temp_12"),
    0x42: _number("mode01_control_module_voltage", 0.001),
    0x43: _number("mode01_absolute_load_value", 100 / 255),
    0x44: _number("mode01_fuel_air_commanded_equiv_ratio", 2 / 65536),
    0x45: _percent("mode01_relative_throttle_position"),
    0x46: _byte("mode01_ambient_air_temp", -40),
    0x47: _percent("mode01_absolute_throttle_position_B"),
    0x49: _percent("mode01_accelerator_pedal_position_D"),
    0x4A: _percent("mode01_accelerator_pedal_position_E"),
    0x4C: _percent("mode01_commanded_throttle_actuator"),
    0x4D: _number("mode01_time_run_with_mil"),
    0x4E: _number("mode01_time_since_trouble_code_clear"),
    0x51: _byte("mode01_fuel_type"),
    0x54: Scaling(lambda data: [_signed(_word(data))], [], ["data"]),
    0x5A: _percent("mode01_relative_accelerator_pedal_position"),
    0x5C: _byte("mode01_engine_oil_temp", -40),
    0x5E: _number("mode01_engine_fuel_rate", 0.05),
    0x61: _byte("mode01_torque_driver_demand_engine", -125),
    0x62: _byte("mode01_torque_actual_engine", -125),
    0x63: _number("mode01_torque_reference_engine"),
    0x64: Scaling(lambda data: [value - 125 for value in data], [], [f"at_point{point}" for point in range(1, 6)]),
    0x66: _several([lambda data, place: _word(data, 2 * place) / 32] * 2, ["sensor_a", "sensor_b"]),
    0x67: _several([_celsius] * 2, ["sensor1", "sensor2"]),
    0x68: _several([_celsius] * 6, [f"bank{bank}_sensor{sensor}" for bank in (1, 2) for sensor in (1, 2, 3)]),
    0x69: _several(
        [_share, _share, _deviation] * 2,
        [what.format(valve) for valve in "ab" for what in EGR],
    ),
    0x6C: _several([_share] * 4, [what.format(plate) for plate in "ab" for what in THROTTLE]),
}


def scaling_of(pid):
    """The scaling of a PID; a PID the car reports and this file does not know is a gap in the checks."""
    assert pid in SCALINGS, f"the car reports PID {pid:02X}: write its scaling down in {__file__}"
    return SCALINGS[pid]


# Bits, not numbers: compared where they are read (`readiness`), or as raw bytes. The last four both tools leave raw.
ENCODED = {0x01, 0x13, 0x1D, 0x1E, 0x41, 0x65, 0x8E, 0x9D, 0x9E, 0xA2}
