"""The two CRC-8 sums of the sensor buses, bit by bit: a table would cost more than it saves."""


def onewire(data: "bytes | bytearray", length: int) -> int:
    """1-wire sum: x8+x5+x4+1 sent low bit first (0x8C), start 0; 0 over data and its own sum."""
    crc = 0
    for i in range(length):
        crc ^= data[i]
        for _ in range(8):
            crc = crc >> 1 ^ 0x8C if crc & 1 else crc >> 1
    return crc


def humidity(data: "bytes | bytearray", start: int, length: int) -> int:
    """Sum of the humidity chips: x8+x5+x4+1 sent high bit first (0x31), start 0xFF."""
    crc = 0xFF
    for i in range(start, start + length):
        crc ^= data[i]
        for _ in range(8):
            crc = (crc << 1 ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc
