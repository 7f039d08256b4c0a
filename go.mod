module chainline

go 1.26

require go.yaml.in/yaml/v3 v3.0.6
