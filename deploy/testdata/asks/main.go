// Command asks asks for a method by a name that no linker can know.
package main

import (
	"os"
	"reflect"
	"time"
)

func main() {
	os.Exit(reflect.ValueOf(time.Now()).MethodByName(os.Args[0]).NumMethod())
}
