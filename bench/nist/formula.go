package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/num/dual"
)

// formula is a parsed right-hand side such as "b1*(1-exp(-b2*x))". It is
// evaluated on dual numbers, so that derivatives are exact.
//
// Grammar: sums of products of signed powers; ^ binds tightest, to the right;
// functions exp, log, sin, cos, arctan, sqrt; the constant pi; names.
type formula func(vars map[string]dual.Number) dual.Number

func parseFormula(text string) (formula, error) {
	p := &parser{rest: text}
	f, err := p.sum()
	if err == nil && p.peek() != 0 {
		err = fmt.Errorf("unexpected %q", p.rest)
	}
	if err != nil {
		return nil, fmt.Errorf("formula %q: %w", text, err)
	}
	return f, nil
}

type parser struct{ rest string }

func (p *parser) peek() byte {
	p.rest = strings.TrimLeft(p.rest, " ")
	if p.rest == "" {
		return 0
	}
	return p.rest[0]
}

func (p *parser) take(c byte) bool {
	if p.peek() != c {
		return false
	}
	p.rest = p.rest[1:]
	return true
}

func (p *parser) sum() (formula, error) {
	left, err := p.product()
	for err == nil {
		sign := 1.0
		switch {
		case p.take('+'):
		case p.take('-'):
			sign = -1
		default:
			return left, nil
		}
		var right formula
		if right, err = p.product(); err == nil {
			a := left
			left = func(v map[string]dual.Number) dual.Number {
				return dual.Add(a(v), dual.Scale(sign, right(v)))
			}
		}
	}
	return nil, err
}

func (p *parser) product() (formula, error) {
	left, err := p.signed()
	for err == nil {
		divide := false
		switch {
		case p.take('*'):
		case p.take('/'):
			divide = true
		default:
			return left, nil
		}
		var right formula
		if right, err = p.signed(); err == nil {
			a := left
			left = func(v map[string]dual.Number) dual.Number {
				r := right(v)
				if divide {
					r = dual.Inv(r)
				}
				return dual.Mul(a(v), r)
			}
		}
	}
	return nil, err
}

func (p *parser) signed() (formula, error) {
	if p.take('-') {
		f, err := p.signed()
		return func(v map[string]dual.Number) dual.Number { return dual.Scale(-1, f(v)) }, err
	}
	return p.power()
}

func (p *parser) power() (formula, error) {
	base, err := p.atom()
	if err != nil || !p.take('^') {
		return base, err
	}
	exponent, err := p.signed()
	if err != nil {
		return nil, err
	}
	return func(v map[string]dual.Number) dual.Number { return pow(base(v), exponent(v)) }, nil
}

// pow keeps an integer power of a negative base real.
func pow(a, n dual.Number) dual.Number {
	if n.Emag == 0 && n.Real == math.Trunc(n.Real) {
		return dual.PowReal(a, n.Real)
	}
	return dual.Pow(a, n)
}

var functions = map[string]func(dual.Number) dual.Number{
	"exp": dual.Exp, "log": dual.Log, "sin": dual.Sin, "cos": dual.Cos, "arctan": dual.Atan, "sqrt": dual.Sqrt,
}

func (p *parser) atom() (formula, error) {
	c := p.peek()
	switch {
	case p.take('('):
		return p.closed()
	case c >= '0' && c <= '9' || c == '.':
		return p.number()
	case unicode.IsLetter(rune(c)):
		return p.name()
	}
	return nil, fmt.Errorf("unexpected %q", p.rest)
}

func (p *parser) closed() (formula, error) {
	f, err := p.sum()
	if err == nil && !p.take(')') {
		err = fmt.Errorf("missing ) before %q", p.rest)
	}
	return f, err
}

func (p *parser) number() (formula, error) {
	n := strings.IndexFunc(p.rest, func(r rune) bool { return !(unicode.IsDigit(r) || r == '.') })
	if n < 0 {
		n = len(p.rest)
	}
	x, err := strconv.ParseFloat(p.rest[:n], 64)
	p.rest = p.rest[n:]
	return func(map[string]dual.Number) dual.Number { return dual.Number{Real: x} }, err
}

func (p *parser) name() (formula, error) {
	n := strings.IndexFunc(p.rest, func(r rune) bool { return !(unicode.IsLetter(r) || unicode.IsDigit(r)) })
	if n < 0 {
		n = len(p.rest)
	}
	name := p.rest[:n]
	p.rest = p.rest[n:]
	if name == "pi" {
		return func(map[string]dual.Number) dual.Number { return dual.Number{Real: math.Pi} }, nil
	}
	if fn, ok := functions[name]; ok {
		if !p.take('(') {
			return nil, fmt.Errorf("%s needs its argument in parentheses", name)
		}
		arg, err := p.closed()
		return func(v map[string]dual.Number) dual.Number { return fn(arg(v)) }, err
	}
	return func(v map[string]dual.Number) dual.Number { return v[name] }, nil
}
