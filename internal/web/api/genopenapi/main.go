// Genopenapi writes the description of the API, openapi.json, from the types of
// its requests and answers and from the comments that stand at them. Run it with
// go generate in the folder of package api.
package main

import (
	"fmt"
	"os"
)

func main() {
	content, err := generate("../../..")
	if err == nil {
		err = os.WriteFile("openapi.json", content, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "genopenapi:", err)
		os.Exit(1)
	}
}
