module chainline

go 1.26
