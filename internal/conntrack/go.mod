module github.com/mwitkow/go-conntrack

go 1.26.0
