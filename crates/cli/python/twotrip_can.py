"""Embedded buses of Twotrip for python-can: can.Bus(interface="twotrip", channel="local:NAME").

Installed by `pip install crates/cli/python`, which makes it known to python-can; a program that uses python-can then works
where the kernel has no CAN. Nothing but the name of the interface tells it apart from SocketCAN.
"""

import time

import can
import twotrip


class TwotripBus(can.BusABC):
    """A place on an embedded bus. Frames come in the order in which they were sent; own ones do not come back."""

    def __init__(self, channel, can_filters=None, fd=False, **kwargs):
        try:
            self._bus = twotrip.LocalBus(str(channel))
        except twotrip.TwotripError as error:
            raise can.CanInitializationError(str(error)) from error
        self.channel = channel
        self.channel_info = f"embedded bus {channel}"
        self._can_protocol = can.CanProtocol.CAN_FD if fd else can.CanProtocol.CAN_20
        super().__init__(channel=channel, can_filters=can_filters, **kwargs)

    def send(self, msg, timeout=None):
        frame = twotrip.Frame(
            msg.arbitration_id,
            bytes(msg.data),
            extended=msg.is_extended_id,
            remote=msg.is_remote_frame,
            error=msg.is_error_frame,
            fd=msg.is_fd,
        )
        try:
            self._bus.send(frame)
        except twotrip.TwotripError as error:
            raise can.CanOperationError(str(error)) from error

    def _recv_internal(self, timeout):
        try:
            frame = self._bus.receive(timeout)
        except twotrip.TwotripError as error:
            raise can.CanOperationError(str(error)) from error
        if frame is None:
            return None, False
        message = can.Message(
            timestamp=time.time(),
            arbitration_id=frame.id,
            is_extended_id=frame.extended,
            is_remote_frame=frame.remote,
            is_error_frame=frame.error,
            is_fd=frame.fd,
            channel=self.channel,
            dlc=len(frame.data),
            data=None if frame.remote else frame.data,
            is_rx=True,
        )
        # Filters are applied by python-can.
        return message, False

    def fileno(self):
        return self._bus.fileno()

    def shutdown(self):
        super().shutdown()
        self._bus.close()

    @staticmethod
    def _detect_available_configs():
        sockets = twotrip.folder().glob("bus-*.sock")
        return [{"interface": "twotrip", "channel": f"local:{path.stem[len('bus-') :]}"} for path in sockets]
