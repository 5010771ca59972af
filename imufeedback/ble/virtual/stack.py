"""bumble devices on the virtual link, with a short way for data.

bumble formats a coloured text of every packet for its debug log, logged or not; that costs more than the packet itself.
Here data packets and their completions pass the four places without it. Everything else goes bumble's own way.
"""

from __future__ import annotations

import asyncio

from bumble.controller import Controller
from bumble.device import Device
from bumble.hci import (
    Address,
    HCI_AclDataPacket,
    HCI_ErrorCode,
    HCI_LE_Connection_Complete_Event,
    HCI_LE_Create_Connection_Cancel_Command,
    HCI_LE_Extended_Advertising_Report_Event,
    HCI_Number_Of_Completed_Packets_Event,
    HCI_Packet,
    HCI_StatusReturnParameters,
    Phy,
    Role,
)
from bumble.host import Host
from bumble.link import LocalLink
from bumble.ll import AdvExtInd, AdvInd
from bumble.transport.common import AsyncPipeSink

SIGNAL_DBM = -50
_Kind = HCI_LE_Extended_Advertising_Report_Event.EventType
_DATA = (HCI_AclDataPacket, HCI_Number_Of_Completed_Packets_Event)


class _Controller(Controller):
    signal_dbm = SIGNAL_DBM
    """How strong others hear this one."""
    answers = True
    """Whether it can be connected; otherwise it is only heard."""

    def send_hci_packet(self, packet: HCI_Packet) -> None:
        if isinstance(packet, _DATA) and self.host is not None:
            asyncio.get_running_loop().call_soon(self.host.on_packet, bytes(packet))
        else:
            super().send_hci_packet(packet)

    def on_hci_packet(self, packet: HCI_Packet) -> None:
        if isinstance(packet, HCI_AclDataPacket):
            self.on_hci_acl_data_packet(packet)
        else:
            super().on_hci_packet(packet)

    def on_advertising_pdu(self, pdu: AdvInd | AdvExtInd) -> None:
        """Report an advertisement and its scan response; bumble repeats the advertisement for a response."""
        if not self.le_scan_enable and self.pending_le_connection is None:
            return
        sender = self.link.find_le_controller(pdu.advertiser_address) if self.link else None
        if not isinstance(sender, _Controller):
            return
        scanning, self.le_scan_enable = self.le_scan_enable, False
        try:
            if sender.answers:
                super().on_advertising_pdu(pdu)  # a connection that waits for this one
        finally:
            self.le_scan_enable = scanning
        if not scanning:
            return
        response = next((bytes(one.scan_response_data) for one in sender.advertising_sets.values()), b"")
        self._report(pdu, _Kind.CONNECTABLE_ADVERTISING, pdu.data, sender.signal_dbm)
        if response:
            self._report(pdu, _Kind.SCAN_RESPONSE, response, sender.signal_dbm)

    def _report(self, pdu: AdvInd | AdvExtInd, kind: _Kind, data: bytes, signal_dbm: int) -> None:
        address = pdu.advertiser_address
        report = HCI_LE_Extended_Advertising_Report_Event.Report(
            event_type=kind,
            address_type=address.address_type,
            address=address,
            primary_phy=Phy.LE_1M,
            secondary_phy=Phy.LE_1M,
            advertising_sid=0,
            tx_power=0,
            rssi=signal_dbm,
            periodic_advertising_interval=0,
            direct_address_type=0,
            direct_address=Address.ANY,
            data=data,
        )
        self.send_hci_packet(HCI_LE_Extended_Advertising_Report_Event([report]))

    def on_hci_le_create_connection_cancel_command(
        self, command: HCI_LE_Create_Connection_Cancel_Command
    ) -> HCI_StatusReturnParameters:
        """Forget the pending attempt and say so: Bluetooth Core Specification, Vol 4, Part E, 7.8.13.

        bumble's controller only answers, and would connect whenever the peripheral comes back.
        """
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is not None:
            cancelled = HCI_LE_Connection_Complete_Event(
                status=HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=Role.CENTRAL,
                peer_address_type=pending.peer_address.address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
            asyncio.get_running_loop().call_soon(self.send_hci_packet, cancelled)
        return super().on_hci_le_create_connection_cancel_command(command)


class _Host(Host):
    def send_hci_packet(self, packet: HCI_Packet) -> None:
        if isinstance(packet, HCI_AclDataPacket) and self.hci_sink is not None and self.snooper is None:
            self.hci_sink.on_packet(bytes(packet))
        else:
            super().send_hci_packet(packet)

    def on_hci_packet(self, packet: HCI_Packet) -> None:
        if self.snooper is not None:
            super().on_hci_packet(packet)
        elif isinstance(packet, HCI_AclDataPacket):
            self.on_hci_acl_data_packet(packet)
        elif isinstance(packet, HCI_Number_Of_Completed_Packets_Event):
            self.on_hci_event_packet(packet)
        else:
            super().on_hci_packet(packet)


def make_device(
    name: str, address: str, link: LocalLink, signal_dbm: int = SIGNAL_DBM, *, answers: bool = True
) -> Device:
    """A bumble device under a random static address, with a controller of its own on the link."""
    controller = _Controller(name, link=link)
    controller.signal_dbm, controller.answers = signal_dbm, answers
    return Device(name=name, address=Address(address), host=_Host(controller, AsyncPipeSink(controller)))
