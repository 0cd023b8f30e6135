"""Every kind of link there is, with its other side."""

from tests.contract.stand_gpio import GpioStand
from tests.contract.stand_iio import IioStand
from tests.contract.stand_lines import LinesStand
from tests.contract.stand_modbus import RtuStand, TcpStand
from tests.contract.stands import Stand

STANDS: tuple[type[Stand], ...] = (GpioStand, IioStand, RtuStand, TcpStand, LinesStand)
