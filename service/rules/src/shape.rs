//! What the shape of a script must keep before it is run: the limits of the engine hold each value, and these hold the
//! ways around them that it leaves open.
//!
//! - A map grows without a check when an entry is assigned by a computed index, as do the keys, which nothing counts.
//! - A call may carry a thousand copies of a value, each within its own limit.

use rhai::{AST, ASTNode, Expr, Position, Scope, Stmt};

use crate::{Fault, host::LIMITS};

/// The first place where a script leaves its shape.
pub(crate) fn held(file: &str, ast: &AST) -> Result<(), Fault> {
    for function in ast.iter_functions() {
        if function.params.len() > LIMITS.arguments {
            let what = format!("fn {} takes more than {} arguments", function.name, LIMITS.arguments);
            return Err(Fault::whole(file, what, "pass a map of them instead"));
        }
    }
    let mut found = None;
    ast.walk(&mut |path| {
        found = path.last().and_then(|node| outside(node));
        found.is_none()
    });
    match found {
        None => Ok(()),
        Some((position, what, mend)) => Err(Fault::at(file, position, what, mend)),
    }
}

/// The first name nobody gave a value, whether or not any air leads there; `constants` are what the top of the script gave one.
/// The parser could look for it too, but not before these are worked out.
pub(crate) fn known(file: &str, ast: &AST, constants: &Scope<'_>) -> Result<(), Fault> {
    let mut found = None;
    ast.walk(&mut |path| {
        found = path.last().and_then(|node| unknown(node, constants));
        found.is_none()
    });
    match found {
        None => Ok(()),
        Some((position, what)) => {
            Err(Fault::at(file, position, what, "scripts/README.md lists the functions and their arguments"))
        }
    }
}

fn unknown(node: &ASTNode<'_>, constants: &Scope<'_>) -> Option<(Position, String)> {
    match node {
        ASTNode::Expr(Expr::Variable(variable, _, position)) => {
            let (index, name, of, _) = &**variable;
            match index {
                _ if !of.is_empty() => Some((of.position(), format!("Undefined variable: {of}::{name}"))),
                None if !constants.contains(name) => Some((*position, format!("Undefined variable: {name}"))),
                _ => None,
            }
        }
        ASTNode::Stmt(Stmt::FnCall(call, _)) | ASTNode::Expr(Expr::FnCall(call, _) | Expr::MethodCall(call, _))
            if !call.namespace.is_empty() =>
        {
            let of = &call.namespace;
            Some((of.position(), format!("Undefined function: {of}::{}", call.name)))
        }
        _ => None,
    }
}

fn outside(node: &ASTNode<'_>) -> Option<(Position, String, &'static str)> {
    match node {
        ASTNode::Stmt(Stmt::Assignment(both)) if computed(&both.1.lhs) => Some((
            both.1.lhs.position(),
            "a value is assigned by a computed index".into(),
            "build an array with push, or name the entry of a map, as in m.name = 1",
        )),
        ASTNode::Stmt(Stmt::FnCall(call, position))
        | ASTNode::Expr(Expr::FnCall(call, position) | Expr::MethodCall(call, position))
            if call.args.len() > LIMITS.arguments =>
        {
            let what = format!("{} is called with more than {} arguments", call.name, LIMITS.arguments);
            Some((*position, what, "pass an array or a map of them instead"))
        }
        _ => None,
    }
}

/// Whether what is assigned to lies behind an index that is worked out only when the script runs.
fn computed(place: &Expr) -> bool {
    match place {
        Expr::Index(both, ..) => computed(&both.lhs) || computed_index(&both.rhs),
        Expr::Dot(both, ..) => computed(&both.lhs) || computed(&both.rhs),
        _ => false,
    }
}

/// What stands in the brackets, and what follows them.
fn computed_index(behind: &Expr) -> bool {
    match behind {
        Expr::Index(both, ..) => !both.lhs.is_constant() || computed_index(&both.rhs),
        Expr::Dot(both, ..) => !both.lhs.is_constant() || computed(&both.rhs),
        index => !index.is_constant(),
    }
}
