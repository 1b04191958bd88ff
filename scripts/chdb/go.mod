module daysheet/scripts/chdb

go 1.26.4
