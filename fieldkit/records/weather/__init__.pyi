from .stations import StationRecords as StationRecords
from .stations import check_zone as check_zone
from .stations import station_table as station_table
