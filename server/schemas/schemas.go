// Package schemas holds the JSON Schemas (2020-12) of every shape that other programs rely on: DEVELOPERS.md, "Contracts"
// and 4. Each file's $id is "urn:brakewright:schema:NAME".
package schemas

import "embed"

// FS holds NAME.json for each shape, such as "form-1.json".
//
//go:embed *.json
var FS embed.FS
