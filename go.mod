module chainline

go 1.26

require go.yaml.in/yaml/v3 v3.0.6

require gonum.org/v1/gonum v0.17.0

require golang.org/x/tools v0.30.0 // indirect
