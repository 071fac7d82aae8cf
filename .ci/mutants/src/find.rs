//! All places of a file, outside of tests, constants, types and patterns.

use std::ops::Range;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Block, Expr, Lit, ReturnType, Signature, Stmt, Type, UnOp};

use crate::place::{Mistake, Place};

pub fn places(file: &str, text: &str) -> syn::Result<Vec<Place>> {
    let tree = syn::parse_file(text)?;
    let mut finder = Finder {
        file,
        text,
        places: Vec::new(),
    };
    finder.visit_file(&tree);
    Ok(finder.places)
}

struct Finder<'t> {
    file: &'t str,
    text: &'t str,
    places: Vec<Place>,
}

fn range(of: &impl Spanned) -> Range<usize> {
    of.span().byte_range()
}

impl Finder<'_> {
    fn add(&mut self, of: &impl Spanned, mistake: Mistake, with: &str) {
        let whole = range(of);
        let was: String = self.text[whole.clone()]
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        let was: String = was.chars().take(90).collect();
        self.places.push(Place {
            switch: 0,
            file: self.file.to_owned(),
            line: of.span().start().line,
            whole,
            mistake,
            shown: format!("{was} -> {with}"),
        });
    }

    fn body(&mut self, signature: &Signature, body: &Block) {
        if body.stmts.is_empty() {
            return;
        }
        for &value in values(&signature.output) {
            let shown = format!("return {value}");
            let mistake = Mistake::Returned {
                value: value.to_owned(),
            };
            self.add(body, mistake, &shown);
            if let Some(place) = self.places.last_mut() {
                place.line = signature.span().start().line;
                place.shown = format!("fn {} -> {shown}", signature.ident);
            }
        }
    }
}

/// What a function of this type can return without having worked anything out.
fn values(output: &ReturnType) -> &'static [&'static str] {
    let ReturnType::Type(_, of) = output else {
        return &[""];
    };
    let Type::Path(path) = of.as_ref() else {
        return &[];
    };
    match path
        .path
        .segments
        .last()
        .map(|last| last.ident.to_string())
        .as_deref()
    {
        Some("bool") => &["true", "false"],
        Some("Result") => &["Ok(Default::default())"],
        Some("Option") => &["None"],
        Some("Self") | None => &[],
        Some(_) => &["Default::default()"],
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

fn others(operator: &BinOp) -> &'static [&'static str] {
    match operator {
        BinOp::Add(_) => &["-"],
        BinOp::Sub(_) | BinOp::Mul(_) => &["+"],
        BinOp::Div(_) => &["*"],
        BinOp::Rem(_) => &["/"],
        BinOp::And(_) => &["||"],
        BinOp::Or(_) => &["&&"],
        BinOp::BitAnd(_) => &["|"],
        BinOp::BitOr(_) | BinOp::BitXor(_) => &["&"],
        BinOp::Shl(_) => &[">>"],
        BinOp::Shr(_) => &["<<"],
        BinOp::Eq(_) => &["!="],
        BinOp::Ne(_) => &["=="],
        BinOp::Lt(_) => &["<=", ">"],
        BinOp::Le(_) => &["<", ">"],
        BinOp::Gt(_) => &[">=", "<"],
        BinOp::Ge(_) => &[">", "<"],
        BinOp::AddAssign(_) => &["-="],
        BinOp::SubAssign(_) => &["+="],
        BinOp::MulAssign(_) => &["/="],
        BinOp::DivAssign(_) => &["*="],
        _ => &[],
    }
}

/// A `let` in a chain of conditions cannot be moved into a branch.
fn has_let(expression: &Expr) -> bool {
    match expression {
        Expr::Let(_) => true,
        Expr::Binary(binary) => has_let(&binary.left) || has_let(&binary.right),
        _ => false,
    }
}

fn is_constant(expression: &Expr) -> bool {
    let Expr::Path(path) = expression else {
        return false;
    };
    path.path.segments.last().is_some_and(|last| {
        let name = last.ident.to_string();
        name.len() > 1
            && name
                .chars()
                .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_')
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
            self.body(&item.sig, &item.block);
            visit::visit_block(self, &item.block);
        }
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        if item.sig.constness.is_none() && !is_test(&item.attrs) {
            self.body(&item.sig, &item.block);
            visit::visit_block(self, &item.block);
        }
    }

    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_type(&mut self, _: &'ast Type) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_generic_argument(&mut self, _: &'ast syn::GenericArgument) {}
    fn visit_attribute(&mut self, _: &'ast Attribute) {}

    fn visit_stmt(&mut self, statement: &'ast Stmt) {
        if let Stmt::Expr(Expr::MethodCall(_) | Expr::Call(_) | Expr::Assign(_), Some(_)) =
            statement
        {
            self.add(statement, Mistake::Left, "left out");
        }
        visit::visit_stmt(self, statement);
    }

    fn visit_expr(&mut self, expression: &'ast Expr) {
        match expression {
            Expr::Binary(binary) if !has_let(expression) => {
                for other in others(&binary.op) {
                    let mistake = Mistake::Operator {
                        left: range(&binary.left),
                        right: range(&binary.right),
                        operator: (*other).to_owned(),
                    };
                    self.add(expression, mistake, other);
                }
            }
            Expr::Unary(unary) if !matches!(unary.op, UnOp::Deref(_)) => {
                self.add(
                    expression,
                    Mistake::Bare {
                        operand: range(&unary.expr),
                    },
                    "without it",
                );
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
