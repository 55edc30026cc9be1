package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// comments knows what stands at the types of this module.
type comments struct {
	// root is the folder of the module.
	root     string
	packages map[string]*sourcePackage
}

// sourcePackage is what the source of a package tells of its types.
type sourcePackage struct {
	types map[string]sourceType
	// words are the constants of each type of text, in the order they stand in.
	words map[string][]string
}

// sourceType is what stands at one type: at itself, and at its fields by their
// names in Go.
type sourceType struct {
	doc    string
	fields map[string]string
}

// of returns what stands at a named type.
func (c *comments) of(t reflect.Type) (sourceType, error) {
	p, err := c.packageOf(t)
	if err != nil {
		return sourceType{}, err
	}
	found, ok := p.types[t.Name()]
	if !ok {
		return found, fmt.Errorf("no source of type %s", t)
	}
	return found, nil
}

// wordsOf returns the constants of a named type of text; none when it has none.
func (c *comments) wordsOf(t reflect.Type) ([]string, error) {
	if t.PkgPath() == "" {
		return nil, nil
	}
	p, err := c.packageOf(t)
	if err != nil {
		return nil, err
	}
	return p.words[t.Name()], nil
}

// packageOf reads the source of the package a type is of.
func (c *comments) packageOf(t reflect.Type) (*sourcePackage, error) {
	path := t.PkgPath()
	if p := c.packages[path]; p != nil {
		return p, nil
	}
	folder, ours := strings.CutPrefix(path, "coilkeep/")
	if !ours {
		return nil, fmt.Errorf("type %s is not of this module", t)
	}
	files, err := filepath.Glob(filepath.Join(c.root, filepath.FromSlash(folder), "*.go"))
	if err != nil || len(files) == 0 {
		return nil, fmt.Errorf("no source of package %s: %w", path, err)
	}
	p := &sourcePackage{types: map[string]sourceType{}, words: map[string][]string{}}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		for _, decl := range file.Decls {
			if decl, ok := decl.(*ast.GenDecl); ok {
				p.read(decl)
			}
		}
	}
	c.packages[path] = p
	return p, nil
}

// read takes the types and the words out of a declaration.
func (p *sourcePackage) read(decl *ast.GenDecl) {
	for _, spec := range decl.Specs {
		switch spec := spec.(type) {
		case *ast.TypeSpec:
			doc := spec.Doc
			if doc == nil {
				doc = decl.Doc
			}
			p.types[spec.Name.Name] = typeComments(spec, doc)
		case *ast.ValueSpec:
			named, ok := spec.Type.(*ast.Ident)
			if decl.Tok != token.CONST || !ok || len(spec.Values) != 1 {
				continue
			}
			if literal, ok := spec.Values[0].(*ast.BasicLit); ok && literal.Kind == token.STRING {
				if word, err := strconv.Unquote(literal.Value); err == nil {
					p.words[named.Name] = append(p.words[named.Name], word)
				}
			}
		}
	}
}

// typeComments takes what stands at a type and its fields.
func typeComments(spec *ast.TypeSpec, doc *ast.CommentGroup) sourceType {
	found := sourceType{fields: map[string]string{}}
	body, ok := spec.Type.(*ast.StructType)
	if !ok {
		return found
	}
	names := jsonNames(body)
	found.doc = sentence(inJSON(doc.Text(), spec.Name.Name, names), spec.Name.Name)
	for _, field := range body.Fields.List {
		text := field.Doc.Text()
		if text == "" {
			text = field.Comment.Text()
		}
		for _, name := range field.Names {
			if text != "" {
				found.fields[name.Name] = sentence(inJSON(text, name.Name, names), name.Name)
			}
		}
	}
	return found
}

// jsonNames lists how fields are called in JSON by their names in Go.
func jsonNames(body *ast.StructType) map[string]string {
	names := map[string]string{}
	for _, field := range body.Fields.List {
		if field.Tag == nil {
			continue
		}
		tag, err := strconv.Unquote(field.Tag.Value)
		if err != nil {
			continue
		}
		name, _, _ := strings.Cut(reflect.StructTag(tag).Get("json"), ",")
		for _, ident := range field.Names {
			names[ident.Name] = name
		}
	}
	return names
}

var identifier = regexp.MustCompile(`\b[A-Z]\w+\b`)

// inJSON writes the names of other fields in a comment as JSON has them. A name
// that may be a word at the beginning of a sentence is left alone.
func inJSON(text, own string, names map[string]string) string {
	return identifier.ReplaceAllStringFunc(text, func(word string) string {
		name := names[word]
		plain := strings.ToLower(word[1:]) == word[1:]
		if word == own || name == "" || plain && strings.Contains(text, ". "+word) {
			return word
		}
		return name
	})
}

var docLink = regexp.MustCompile(`\[(\*?[\w.]+)\]`)

var nothing = regexp.MustCompile(`\bnil\b`)

// sentence makes a description of the first paragraph of a comment: one line that begins with a capital,
// ends with a full stop, and does not say the name in Go first.
func sentence(comment, name string) string {
	comment, _, _ = strings.Cut(comment, "\n\n") // what follows is for who reads the source
	text := strings.Join(strings.Fields(comment), " ")
	text = nothing.ReplaceAllString(text, "null")
	text = docLink.ReplaceAllString(text, "$1")
	for _, verb := range []string{" is ", " are ", " holds ", " says "} {
		if rest, ok := strings.CutPrefix(text, name+verb); ok {
			text = rest
			break
		}
	}
	if text == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(text)
	text = string(unicode.ToUpper(first)) + text[size:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
