//! Where in the text of a file the mistakes of cargo-mutants lie, and the places of our own:
//! numbers, named constants and truth values, outside of tests, constants, types and patterns.

use std::collections::HashMap;
use std::ops::Range;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, Block, Expr, Lit, Type};

use crate::place::{Mistake, Place};
use crate::theirs::Theirs;

/// Places of `text`, which is `file`, with what of `theirs` lies in it.
pub fn places(file: &str, text: &str, theirs: &[Theirs]) -> syn::Result<Vec<Place>> {
    let tree = syn::parse_file(text)?;
    let mut by_start: HashMap<_, Vec<_>> = HashMap::new();
    for one in theirs.iter().filter(|one| one.file == file) {
        let start = (one.span.start.line, one.span.start.column - 1);
        by_start.entry(start).or_default().push(one);
    }
    let mut finder = Finder {
        file,
        text,
        theirs: by_start,
        places: Vec::new(),
    };
    finder.visit_file(&tree);
    Ok(finder.places)
}

struct Finder<'t> {
    file: &'t str,
    text: &'t str,
    /// By line and column where what they replace begins.
    theirs: HashMap<(usize, usize), Vec<&'t Theirs>>,
    places: Vec<Place>,
}

fn range(of: &impl Spanned) -> Range<usize> {
    of.span().byte_range()
}

impl<'t> Finder<'t> {
    fn add(&mut self, of: &impl Spanned, mistake: Mistake, with: &str) {
        let whole = range(of);
        let was: Vec<&str> = self.text[whole.clone()].split_whitespace().collect();
        let was: String = was.join(" ").chars().take(90).collect();
        self.places.push(Place {
            switch: 0,
            file: self.file.to_owned(),
            line: of.span().start().line,
            whole,
            mistake,
            shown: format!("{was} -> {with}"),
        });
    }

    fn theirs(&self, of: &impl Spanned, genre: &str) -> Vec<&'t Theirs> {
        let start = of.span().start();
        let all = self.theirs.get(&(start.line, start.column));
        all.into_iter()
            .flatten()
            .copied()
            .filter(|one| one.genre == genre)
            .collect()
    }

    fn body(&mut self, name: &str, body: &Block) {
        let Some(first) = body.stmts.first() else {
            return;
        };
        for one in self.theirs(first, "FnValue") {
            let value = one.replacement.clone();
            self.add(body, Mistake::Returned { value }, "");
            if let Some(place) = self.places.last_mut() {
                place.line = first.span().start().line;
                place.shown = format!("fn {name} -> return {}", one.replacement);
            }
        }
    }
}

fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg")
                && attribute
                    .meta
                    .require_list()
                    .is_ok_and(|l| l.tokens.to_string() == "test")
    })
}

/// A `let` in a chain of conditions cannot be moved into a branch.
fn has_let(expression: &Expr) -> bool {
    match expression {
        Expr::Let(_) => true,
        Expr::Binary(binary) => has_let(&binary.left) || has_let(&binary.right),
        _ => false,
    }
}

/// A constant by name, but the ends of a type, for which nobody takes another number.
fn is_constant(expression: &Expr) -> bool {
    let Expr::Path(path) = expression else {
        return false;
    };
    let of_a_type = |first: &str| {
        let bits = first.trim_start_matches(['f', 'i', 'u']);
        bits == "size" || bits.parse::<u8>().is_ok()
    };
    let segments: Vec<String> = path
        .path
        .segments
        .iter()
        .map(|s| s.ident.to_string())
        .collect();
    segments.last().is_some_and(|name| {
        name.len() > 1
            && name
                .chars()
                .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_')
            && !(segments.len() > 1 && of_a_type(&segments[0]))
    })
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_item(&mut self, item: &'ast syn::Item) {
        let attributes: &[Attribute] = match item {
            syn::Item::Mod(of) => &of.attrs,
            syn::Item::Fn(of) => &of.attrs,
            syn::Item::Impl(of) => &of.attrs,
            syn::Item::Const(_) | syn::Item::Static(_) => return,
            _ => &[],
        };
        if !is_test(attributes) {
            visit::visit_item(self, item);
        }
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        if item.sig.constness.is_none() {
            self.body(&item.sig.ident.to_string(), &item.block);
            visit::visit_block(self, &item.block);
        }
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        if item.sig.constness.is_none() && !is_test(&item.attrs) {
            self.body(&item.sig.ident.to_string(), &item.block);
            visit::visit_block(self, &item.block);
        }
    }

    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_type(&mut self, _: &'ast Type) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_generic_argument(&mut self, _: &'ast syn::GenericArgument) {}
    fn visit_attribute(&mut self, _: &'ast Attribute) {}

    fn visit_arm(&mut self, arm: &'ast syn::Arm) {
        if let Some((_, guard)) = &arm.guard {
            for one in self.theirs(guard, "MatchArmGuard") {
                let always = one.replacement == "true";
                self.add(guard, Mistake::Guard { always }, &one.replacement);
            }
        } else if !self.theirs(arm, "MatchArm").is_empty() {
            self.add(&arm.pat, Mistake::Arm, "no such arm");
        }
        visit::visit_arm(self, arm);
    }

    fn visit_expr(&mut self, expression: &'ast Expr) {
        match expression {
            Expr::Binary(binary) if !has_let(expression) => {
                for one in self.theirs(&binary.op, "BinaryOperator") {
                    let mistake = Mistake::Operator {
                        left: range(&binary.left),
                        right: range(&binary.right),
                        operator: one.replacement.clone(),
                    };
                    self.add(expression, mistake, &one.replacement);
                }
            }
            Expr::Unary(unary) => {
                for _ in self.theirs(&unary.op, "UnaryOperator") {
                    let operand = range(&unary.expr);
                    self.add(expression, Mistake::Bare { operand }, "without it");
                }
            }
            Expr::Lit(literal) => match &literal.lit {
                Lit::Int(_) | Lit::Float(_) => self.add(expression, Mistake::Nudged, "greater"),
                Lit::Bool(_) => self.add(expression, Mistake::Inverted, "the other"),
                _ => {}
            },
            Expr::Path(_) if is_constant(expression) => {
                self.add(expression, Mistake::Nudged, "greater");
            }
            Expr::Repeat(repeat) => {
                self.visit_expr(&repeat.expr);
                return;
            }
            Expr::Const(_) => return,
            _ => {}
        }
        visit::visit_expr(self, expression);
    }
}
